-- The wheel checks of a forecast with what is said of them, newest first.
select
    f.vehicle_id,
    f.wheel_check_id,
    f.is_last,
    f.verdict,
    f.says,
    f.indicative,
    w.visit_id,
    v.visit_date,
    w.axle,
    w.side,
    w.wheel_part,
    w.direction,
    w.method,
    w.support,
    w.read_at,
    w.bearings_adjusted,
    w.result,
    w.play_mm,
    w.play_written,
    w.play_unit
from forecast_wheels as f
join wheel_checks as w on w.wheel_check_id = f.wheel_check_id
join visits as v on v.visit_id = w.visit_id
where f.forecast_id = $forecast_id and ($vehicle_id is null or f.vehicle_id = $vehicle_id)
order by f.vehicle_id, v.visit_date desc, w.axle, w.side, w.wheel_part, w.wheel_check_id
