-- Limits that were known to stand, those too that begin later.
create or replace temp table known_limits as
select li.*
from limits as li
join known_loads on known_loads.load_id = li.load_id
anti join known_superseded as gone on gone.table_name = 'limits' and gone.row_id = li.limit_id
