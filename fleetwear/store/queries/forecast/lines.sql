-- The posterior components of a fit, numbered as fit_input_series on this connection.
create or replace temp table forecast_lines as
select
    s.vehicle_id,
    s.series,
    p.shape,
    p.shift_km,
    p.weight,
    p.intercept,
    p.growth,
    p.var_intercept,
    p.cov_cross,
    p.var_growth,
    p.exponent,
    p.reference_km,
    p.pace,
    p.onset_km,
    p.residual_variance,
    p.wander_mm2_per_km,
    p.from_km
from posteriors as p
join fit_input_series as s
    on s.vehicle_id = p.vehicle_id
    and s.position_id = p.position_id
    and s.life_no = p.life_no
    and s.direction = p.direction
where p.fit_id = $fit_id and s.is_current
order by s.vehicle_id
