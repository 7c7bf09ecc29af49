-- Residuals from a file, by the number of their series; fitted_series (keys of the series) is registered.
insert into own_fit_residuals (
    fit_id,
    vehicle_id,
    position_id,
    life_no,
    direction,
    visit_id,
    timing,
    residual_mm,
    sd_mm,
    model_group,
    way,
    play_mm,
    p_slipped,
    growth,
    passed,
    strokes,
    setup_share,
    squares_mm2,
    stroke_degrees
)
select
    $fit_id,
    s.vehicle_id,
    s.position_id,
    s.life_no,
    s.direction,
    r.visit_id,
    r.timing,
    r.residual_mm,
    r.sd_mm,
    r.model_group,
    r.way,
    r.play_mm,
    r.p_slipped,
    r.growth,
    r.passed,
    r.strokes,
    r.setup_share,
    r.squares_mm2,
    r.stroke_degrees
from read_parquet($file) as r
join fitted_series as s on s.series = r.series
order by r.series, r.visit_id, r.timing
