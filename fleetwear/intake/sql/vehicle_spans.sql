-- Which vehicle a unit number means on which days, and that vehicle as it then is. The first to bear a number bears it on
-- all days before too; the last bears it until another one does, even when it has been given a new number since.
-- Versions that were corrected count only where none of their vehicle stands.
create or replace temp table vehicle_spans as
select
    lower(unit) as unit_key,
    unit,
    vehicle_id,
    model,
    distance_source,
    case
        when row_number() over versions = 1 then date '0001-01-01'
        else valid_from
    end as from_date,
    coalesce(lead(valid_from) over versions, date '9999-12-31') as until_date
from vehicles
left join superseded as gone on gone.table_name = 'vehicles' and gone.row_id = vehicle_row_id
where gone.row_id is null or vehicle_id not in (
    select v.vehicle_id
    from vehicles as v
    anti join superseded as s on s.table_name = 'vehicles' and s.row_id = v.vehicle_row_id
)
window versions as (partition by lower(unit) order by valid_from, vehicle_row_id)
