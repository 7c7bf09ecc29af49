-- Every wheel check known at the moment, with what is on record of its vehicle; needs the tables of known/.
select
    w.wheel_check_id,
    w.visit_id,
    w.vehicle_id,
    v.visit_date,
    w.axle,
    w.side,
    w.wheel_part,
    w.direction,
    w.method,
    w.support,
    w.read_at,
    w.bearings_adjusted,
    w.bead_diameter_in,
    w.result,
    w.play_mm,
    w.play_written,
    w.play_unit,
    kv.model,
    kv.tyre_size,
    kv.weight_class
from wheel_checks as w
join known_loads on known_loads.load_id = w.load_id
join known_visits as v on v.visit_id = w.visit_id
join known_vehicles as kv on kv.vehicle_id = w.vehicle_id
anti join known_set_aside as a on a.table_name = 'wheel_checks' and a.row_id = w.wheel_check_id
order by w.vehicle_id, v.visit_date desc, w.axle, w.side, w.wheel_part, w.wheel_check_id
