-- What is said of the wheels of the vehicles in wanted.
select f.vehicle_id, f.wheel_check_id, f.is_last, f.verdict, f.says
from forecast_wheels as f
semi join wanted as w on w.vehicle_id = f.vehicle_id
join wheel_checks as c on c.wheel_check_id = f.wheel_check_id
join visits as v on v.visit_id = c.visit_id
where f.forecast_id = $forecast_id
order by f.vehicle_id, v.visit_date desc, c.axle, c.side, c.wheel_part, c.wheel_check_id
