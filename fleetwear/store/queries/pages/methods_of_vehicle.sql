-- What the fit found of each method, shape by shape, for each current series of a vehicle.
select
    s.position_id,
    s.direction,
    m.shape,
    m.method,
    m.offset_mm,
    m.offset_se,
    m.variance_ratio,
    m.threshold_mm,
    m.softness_mm
from fit_series as s
join forecast_joints as j
    on j.forecast_id = $forecast_id
    and j.vehicle_id = s.vehicle_id
    and j.position_id = s.position_id
    and j.direction = s.direction
    and j.life_no = s.life_no
join fit_methods as m on m.fit_id = s.fit_id and m.model_group = s.model_group
where s.fit_id = $fit_id and s.vehicle_id = $vehicle_id
order by s.position_id, s.direction, m.shape, m.method
