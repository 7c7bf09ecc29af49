-- Loads whose rows in the store or in quarantine are not as many as was recorded. Copies of rows set aside are not
-- rows that a load refused.
with taken as (
    select 'vehicles' as table_name, load_id from vehicles
    union all
    select 'positions', load_id from positions
    union all
    select 'limits', load_id from limits
    union all
    select 'wheel_limits', load_id from wheel_limits
    union all
    select 'services', load_id from services
    union all
    select 'parts', load_id from parts
    union all
    select 'visits', load_id from visit_notes
    union all
    select 'readings', load_id from readings
    union all
    select 'wheel_checks', load_id from wheel_checks
    union all
    select 'work', load_id from work
    union all
    select 'odometer', load_id from odometer
    union all
    select 'stock', load_id from stock
    union all
    select 'actions', load_id from actions
),

counted as (
    select table_name, load_id, count(*) as n from taken group by table_name, load_id
),

refused as (
    select load_id, count(*) as n
    from quarantine
    where quarantine_id not in (select quarantine_id from set_aside)
    group by load_id
)

select
    loads.load_id,
    loads.file_name,
    loads.table_name,
    loads.rows_in,
    coalesce(counted.n, 0) as rows_found,
    loads.rows_quarantined,
    coalesce(refused.n, 0) as refused_found
from loads
left join counted on counted.load_id = loads.load_id and counted.table_name = loads.table_name
left join refused on refused.load_id = loads.load_id
where (loads.table_name <> 'corrections' and coalesce(counted.n, 0) <> loads.rows_in)
    or coalesce(refused.n, 0) <> loads.rows_quarantined
order by loads.load_id
