select
    v.unit,
    v.depot,
    v.model,
    p.joint,
    p.kind,
    p.axle,
    p.side,
    p.place,
    l.life_no,
    l.origin,
    l.start_date as life_start_date,
    l.start_km as life_start_distance_km,
    l.supplier,
    l.part_number,
    coalesce(r.readings, 0) as readings_of_this_life,
    r.last_reading_date,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from known.known_lives as l
join known.known_vehicles as v on v.vehicle_id = l.vehicle_id
join main.positions as p on p.position_id = l.position_id
cross join tidy.about as a
left join (
    select vehicle_id, position_id, life_no, count(*) as readings, max(visit_date) as last_reading_date
    from known.known_readings
    group by vehicle_id, position_id, life_no
) as r on r.vehicle_id = l.vehicle_id and r.position_id = l.position_id and r.life_no = l.life_no
where l.is_current
