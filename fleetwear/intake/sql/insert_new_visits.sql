insert into visits (
    visit_id, vehicle_id, visit_date, odometer_km, odometer_written, odometer_unit, shop, technician, load_id,
    source_row, row_key
)
select
    $first_id + place,
    vehicle_id,
    visit_date,
    visit_odometer_km,
    odometer_written,
    odometer_unit,
    shop,
    technician,
    $load_id,
    source_row,
    md5(to_json([vehicle_id::varchar, visit_date::varchar, round(visit_odometer_km, 6)::varchar])::varchar || $salt)
from new_visits
order by place
