insert into wheel_checks (
    wheel_check_id, visit_id, vehicle_id, axle, side, wheel_part, direction, method, support, read_at,
    bearings_adjusted, bead_diameter_in, technician, result, play_mm, play_written, play_unit, load_id, source_row,
    row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    coalesce(c.visit_id, $first_visit_id + fresh.place),
    c.vehicle_id,
    c.axle,
    c.side,
    c.wheel_part,
    c.direction,
    c.method,
    c.support,
    c.read_at,
    c.bearings_adjusted,
    c.bead_diameter_in,
    c.technician,
    c.result,
    c.play_mm,
    c.play_written,
    c.play_unit,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
left join new_visits as fresh
    on fresh.vehicle_id = c.vehicle_id and fresh.visit_date = c.visit_date
    and fresh.visit_odometer_km is not distinct from c.visit_odometer_km
order by c.n
