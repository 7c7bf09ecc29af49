-- What the fit takes in: strokes of one visit averaged, readings in question and mistakes left out.
select
    v.unit,
    v.depot,
    v.model,
    v.duty,
    p.joint,
    p.kind,
    r.direction as load_direction,
    r.life_no,
    r.visit_id,
    r.timing,
    r.visit_date,
    r.running_km as distance_run_km,
    r.life_distance_km,
    r.result,
    r.play_mm as mean_play_mm,
    r.largest_mm as largest_play_mm,
    r.strokes as measured_strokes,
    r.way as way_of_reading,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from known.known_series_visits as r
join known.known_vehicles as v on v.vehicle_id = r.vehicle_id
join main.positions as p on p.position_id = r.position_id
cross join tidy.about as a
