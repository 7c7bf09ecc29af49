-- The number of the way that each combination of cells says, in their order.
select k.way_id
from combined_manners as c
inner join known_ways as k on same_way(c, k)
order by c.n
