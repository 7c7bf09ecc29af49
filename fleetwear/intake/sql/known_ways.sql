-- The number of each way that was said. Since a name was erased two ways can be one; then the first one counts.
create or replace temp table known_ways as
select s.*, min(w.way_id) as way_id
from ways_said as s
inner join reading_ways as w on same_way(s, w)
group by all
