-- The vehicle that a corrected row goes on to describe. Where another unit number is the same vehicle, the corrected row
-- may have been what tied the two, and its identification number tells anew.
create or replace temp table kept_vehicle as
select old.vehicle_id, old.vin
from vehicles as old
where old.vehicle_row_id = $row_id and not exists (
    select 1
    from vehicles as other
    anti join superseded as gone on gone.table_name = 'vehicles' and gone.row_id = other.vehicle_row_id
    where other.vehicle_id = old.vehicle_id and lower(other.unit) <> lower(old.unit)
)
