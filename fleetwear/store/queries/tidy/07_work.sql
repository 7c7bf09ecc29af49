select
    w.work_id,
    v.unit,
    v.depot,
    w.work_date,
    d.odometer_km,
    w.running_km as distance_run_km,
    p.joint,
    p.kind,
    w.work,
    w.part_number,
    w.supplier,
    w.reason,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from known.known_work as w
join main.work as d on d.work_id = w.work_id
join known.known_vehicles as v on v.vehicle_id = w.vehicle_id
join main.positions as p on p.position_id = w.position_id
cross join tidy.about as a
