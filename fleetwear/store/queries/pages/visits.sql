select
    v.visit_id,
    v.visit_date,
    v.odometer_km,
    v.running_km,
    v.shop,
    v.technician,
    v.complaint,
    v.symptom_confirmed,
    p.joint as symptom_joint,
    v.note
from known_visits as v
left join positions as p on p.position_id = v.symptom_position_id
where v.vehicle_id = $vehicle_id
order by v.visit_date desc, v.visit_id desc
