insert into services (
    service_id, vehicle_id, done_date, done_odometer_km, interval_km, interval_months, load_id, source_row, row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    c.vehicle_id,
    c.service_date,
    c.odometer_km,
    c.interval_km,
    c.interval_months,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
order by c.n
