-- Every reading of a vehicle, newest first, with what the fit says of readings that do not fit their joint's history;
-- needs the tables of known/.
select
    r.reading_id,
    r.visit_id,
    r.visit_date,
    r.odometer_km,
    r.running_km,
    r.position_id,
    p.joint,
    r.direction,
    r.life_no,
    r.running_km - l.start_km as life_distance_km,
    r.timing,
    r.session,
    r.stroke,
    r.method,
    r.support,
    r.read_at,
    r.indicator,
    r.result,
    r.play_mm,
    r.play_written,
    r.play_unit,
    r.question_state,
    r.question,
    s.expected_mm,
    s.p_slipped
from known_readings as r
join positions as p on p.position_id = r.position_id
join known_lives as l
    on l.vehicle_id = r.vehicle_id and l.position_id = r.position_id and l.life_no = r.life_no
left join fit_slips as s
    on s.fit_id = $fit_id
    and s.vehicle_id = r.vehicle_id
    and s.position_id = r.position_id
    and s.life_no = r.life_no
    and s.direction = r.direction
    and s.visit_id = r.visit_id
    and s.timing = r.timing
    and r.result = 'measured'
where r.vehicle_id = $vehicle_id
order by r.visit_date desc, p.position_id, r.direction, r.timing, r.session, r.stroke
