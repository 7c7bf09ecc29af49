-- The rows that were known not to stand any more, and what was known to stand in their place (null: nothing).
create or replace temp table known_superseded as
select c.table_name, c.row_id, c.new_row_id
from corrections as c
join known_loads using (load_id)
qualify row_number() over (partition by c.table_name, c.row_id order by c.correction_id desc) = 1
