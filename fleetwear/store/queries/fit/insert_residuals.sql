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
    sd_mm
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
    r.sd_mm
from read_parquet($file) as r
join fitted_series as s on s.series = r.series
order by r.series, r.visit_id, r.timing
