-- The weights of shapes in each cohort that differs from its group by more than a little.
with overall as (
    select model_group, shape, weight
    from fit_models
    where fit_id = $fit_id
)

select
    w.model_group,
    w.cohort,
    w.shape,
    w.weight,
    w.n_scored,
    max(abs(w.weight - overall.weight)) over (partition by w.model_group, w.cohort) as apart
from fit_weights as w
join overall on overall.model_group = w.model_group and overall.shape = w.shape
where w.fit_id = $fit_id
qualify apart > 0.1
order by w.model_group, w.cohort, w.weight desc
