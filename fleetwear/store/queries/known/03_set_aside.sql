create or replace temp table known_set_aside as
select set_aside.table_name, set_aside.row_id
from set_aside
join quarantine using (quarantine_id)
join known_loads on known_loads.load_id = quarantine.load_id
