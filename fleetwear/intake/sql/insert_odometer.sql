insert into odometer (
    odometer_id, vehicle_id, entry_date, odometer_km, event, new_odometer_km, load_id, source_row, row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    c.vehicle_id,
    c.on_date,
    c.odometer_km,
    c.event,
    c.new_odometer_km,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
order by c.n
