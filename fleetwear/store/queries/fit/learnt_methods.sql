-- What a fit found of each method, as the shape of highest weight in its group sees it.
with best as (
    select model_group, arg_max(shape, weight) as shape
    from fit_models
    where fit_id = $fit_id
    group by model_group
)

select
    m.model_group,
    m.method,
    m.is_reference,
    m.n_readings,
    m.offset_mm,
    m.offset_se,
    m.variance_ratio,
    m.threshold_mm,
    m.softness_mm
from fit_methods as m
join best on best.model_group = m.model_group and best.shape = m.shape
where m.fit_id = $fit_id
order by m.model_group, m.n_readings desc, m.method
