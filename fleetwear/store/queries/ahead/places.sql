-- Where the joints of a forecast stand on their vehicles.
select distinct j.vehicle_id, j.position_id, p.axle, p.side, p.place
from forecast_joints as j
join positions as p on p.position_id = j.position_id
where j.forecast_id = $forecast_id
order by j.vehicle_id, j.position_id
