-- What was tested on the day of the last visit of some vehicles; needs forecast_tested.
select t.vehicle_id, t.visit_date, t.position_id, t.direction
from forecast_tested as t
where t.vehicle_id in (select unnest($vehicles))
order by t.vehicle_id, t.position_id, t.direction
