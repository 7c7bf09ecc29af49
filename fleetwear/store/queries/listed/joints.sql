-- Joints of the latest forecast in words and units that people use, of the vehicles or joints in wanted.
select
    j.*,
    v.unit,
    v.model,
    v.play_unit,
    v.distance_unit,
    v.distance_source,
    p.joint,
    p.kind,
    v.depot,
    v.next_service_date_05,
    v.next_service_date_50,
    v.next_service_date_95,
    v.overdue,
    v.distance_note
from wanted as w
join forecast_joints as j
    on j.forecast_id = $forecast_id and j.vehicle_id = w.vehicle_id
    and (w.position_id is null or (j.position_id = w.position_id and j.direction = w.direction))
join listed_vehicles as v on v.vehicle_id = j.vehicle_id
join positions as p on p.position_id = j.position_id
order by w.place, j.position_id, j.direction
