-- The rows that were known not to count: set aside, or corrected. Readings that were set aside with a visit count again
-- once that visit is corrected.
create or replace temp table known_set_aside as
select a.table_name, a.row_id
from set_aside as a
join quarantine using (quarantine_id)
join known_loads on known_loads.load_id = quarantine.load_id
where not exists (
    select 1
    from readings as r
    join known_superseded as s on s.table_name = 'visits' and s.row_id = r.visit_id and s.new_row_id is not null
    where a.table_name = 'readings' and r.reading_id = a.row_id
)
union
select table_name, row_id from known_superseded
