select w.work_id, w.work_date, w.running_km, w.position_id, p.joint, w.work, w.part_number, w.supplier, w.reason
from known_work as w
join positions as p on p.position_id = w.position_id
where w.vehicle_id = $vehicle_id
order by w.work_date desc, w.work_id desc
