select
    r.reading_id,
    v.unit,
    v.depot,
    v.model,
    p.joint,
    p.kind,
    r.direction as load_direction,
    r.life_no,
    l.is_current as life_is_current,
    r.visit_id,
    r.visit_date,
    r.odometer_km,
    r.running_km as distance_run_km,
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
    r.play_unit as play_written_unit,
    r.resolution_mm,
    nullif(r.question, '') as question,
    nullif(r.question_state, '') as question_state,
    s.expected_mm,
    s.p_slipped as probability_slipped,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from known.known_readings as r
join known.known_vehicles as v on v.vehicle_id = r.vehicle_id
join main.positions as p on p.position_id = r.position_id
join known.known_lives as l
    on l.vehicle_id = r.vehicle_id and l.position_id = r.position_id and l.life_no = r.life_no
cross join tidy.about as a
left join main.fit_slips as s
    on s.fit_id = a.fit_number
    and s.vehicle_id = r.vehicle_id
    and s.position_id = r.position_id
    and s.life_no = r.life_no
    and s.direction = r.direction
    and s.visit_id = r.visit_id
    and s.timing = r.timing
    and r.result = 'measured'
