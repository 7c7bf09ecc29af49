-- Every model in the store or the sheet with the one spelling that stands for it: the first that was loaded.
create or replace temp table models as
with stored as (
    select model from vehicles
    union
    select model from positions
    union
    select model from limits where model is not null
    union
    select model from wheel_limits where model is not null
    union
    select model from parts where model is not null
)
select lower(model) as model_key, min(model) as model
from stored
group by lower(model)
union all
select typed.model_key as model_key, arg_min(typed.model, typed.n) as model
from typed
where typed.model is not null and typed.model_key not in (select lower(model) from stored)
group by typed.model_key
