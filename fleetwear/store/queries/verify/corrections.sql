-- Corrections of rows, or by rows, that are not there, and rows that stand in their own place.
with rows_there as (
    select 'vehicles' as table_name, vehicle_row_id as row_id from vehicles
    union all
    select 'limits', limit_id from limits
    union all
    select 'odometer', odometer_id from odometer
    union all
    select 'services', service_id from services
    union all
    select 'parts', part_id from parts
    union all
    select 'visits', visit_id from visits
    union all
    select 'readings', reading_id from readings
    union all
    select 'work', work_id from work
),

named as (
    select correction_id, table_name, row_id from corrections
    union all
    select correction_id, table_name, new_row_id from corrections where new_row_id is not null
)

select n.correction_id, n.table_name, n.row_id, 'is not there' as wrong
from named as n
anti join rows_there as r on r.table_name = n.table_name and r.row_id = n.row_id
union all
select c.correction_id, c.table_name, c.row_id, 'stands in its own place'
from corrections as c
where c.new_row_id is not null and c.new_row_id <= c.row_id and c.table_name <> 'visits'
union all
select c.correction_id, c.table_name, c.row_id, 'is corrected, and nothing stands at the end'
from corrections as c
anti join standing_rows as s on s.table_name = c.table_name and s.row_id = c.row_id
order by correction_id, row_id
