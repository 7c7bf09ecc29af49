-- What a fit found of each method, as the shape of highest weight in its group sees it, with that shape's error of a
-- reading.
with best as (
    select model_group, arg_max(shape, weight) as shape
    from fit_models
    where fit_id = $fit_id
    group by model_group
)

select
    f.model_group,
    m.method as way,
    m.n_readings,
    m.offset_mm,
    m.offset_se,
    f.residual_variance
from fit_models as f
join best on best.model_group = f.model_group and best.shape = f.shape
join fit_methods as m on m.fit_id = f.fit_id and m.model_group = f.model_group and m.shape = f.shape
where f.fit_id = $fit_id
order by f.model_group, m.n_readings desc, m.method
