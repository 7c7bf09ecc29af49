select
    series,
    distance_km,
    play_mm,
    variance_ratio,
    seen,
    way,
    resolution_mm,
    strokes,
    setup_share,
    squares,
    degrees,
    visit_id,
    visit_date,
    timing
from fit_input_readings
where series between $first and $last
order by series, distance_km, timing desc, visit_id
