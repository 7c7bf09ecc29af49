select
    i.visit_id,
    v.unit,
    v.depot,
    i.visit_date,
    i.odometer_km,
    d.odometer_written,
    d.odometer_unit as odometer_written_unit,
    i.running_km as distance_run_km,
    i.shop,
    i.technician,
    i.complaint,
    i.symptom_confirmed,
    p.joint as symptom_joint,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from known.known_visits as i
join main.visits as d on d.visit_id = i.visit_id
join known.known_vehicles as v on v.vehicle_id = i.vehicle_id
cross join tidy.about as a
left join main.positions as p on p.position_id = i.symptom_position_id
