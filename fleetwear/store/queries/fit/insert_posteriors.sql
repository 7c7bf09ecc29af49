-- Posterior lines from a file, by the number of their series; fitted_series (keys of the series) is registered.
insert into own_posteriors (
    fit_id,
    vehicle_id,
    position_id,
    life_no,
    direction,
    shape,
    shift_km,
    weight,
    intercept,
    growth,
    var_intercept,
    cov_cross,
    var_growth,
    exponent,
    reference_km,
    pace,
    onset_km,
    residual_variance,
    wander_mm2_per_km,
    from_km
)
select
    $fit_id,
    s.vehicle_id,
    s.position_id,
    s.life_no,
    s.direction,
    l.shape,
    l.shift_km,
    l.weight,
    l.intercept,
    l.growth,
    l.var_intercept,
    l.cov_cross,
    l.var_growth,
    l.exponent,
    l.reference_km,
    l.pace,
    l.onset_km,
    l.residual_variance,
    l.wander_mm2_per_km,
    l.from_km
from read_parquet($file) as l
join fitted_series as s on s.series = l.series
order by s.vehicle_id, l.series, l.shape, l.shift_km, l.onset_km
