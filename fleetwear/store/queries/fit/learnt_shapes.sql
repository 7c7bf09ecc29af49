-- What a fit found of each group of lives, shape by shape.
select
    model_group,
    shape,
    weight,
    exponent,
    pace,
    wander_mm2_per_km,
    n_lives,
    n_readings,
    residual_variance,
    slip_share,
    slip_shift_mm,
    spread,
    doubt
from fit_models
where fit_id = $fit_id
order by model_group, weight desc, shape
