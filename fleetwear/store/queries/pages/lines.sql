-- The posterior components of a vehicle's current series.
select
    p.position_id,
    p.direction,
    p.life_no,
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
join forecast_joints as j
    on j.forecast_id = $forecast_id
    and j.vehicle_id = p.vehicle_id
    and j.position_id = p.position_id
    and j.direction = p.direction
    and j.life_no = p.life_no
where p.fit_id = $fit_id and p.vehicle_id = $vehicle_id
order by p.position_id, p.direction, p.shape, p.shift_km, p.onset_km
