-- Of the lives of a large fleet those of every so many-th vehicle, numbered anew from 0 in the same order.
create or replace temp table effect_lives as
select l.* exclude (place) replace (row_number() over (order by l.life) - 1 as life)
from (
    select e.*, dense_rank() over (order by e.vehicle_id) as place
    from effect_lives as e
) as l
where l.place % $step = 0
