-- Every limit that any current series can have, whenever it begins; of two that hold on a day, the one of lower rank
-- goes before. The order is that of forecast/facts.sql: the more specific first, then the one stated for the way in
-- which the joint was last measured, then the newest. Needs the tables of known/ and fit/series.
create or replace temp table forecast_limits as
with last_measured as (
    select v.*
    from known_series_visits as v
    where v.result = 'measured'
    qualify row_number() over (
        partition by v.vehicle_id, v.position_id, v.life_no, v.direction
        order by v.visit_date desc, v.running_km desc, v.timing
    ) = 1
)

select
    c.vehicle_id,
    c.series,
    row_number() over (
        partition by c.series
        order by
            (li.model is not null)::int * 4 + (li.place is not null)::int * 2 + (li.direction is not null)::int desc,
            case when li.method = lv.method then 2 when li.method is null then 1 else 0 end desc,
            case when li.read_at = lv.read_at then 2 when li.read_at is null then 1 else 0 end desc,
            case when li.support = lv.support then 2 when li.support is null then 1 else 0 end desc,
            li.valid_from desc,
            li.limit_id desc
    ) as rank,
    li.valid_from as limit_valid_from,
    li.limit_id,
    li.limit_mm,
    li.source as limit_source,
    li.basis as limit_basis,
    li.method as limit_method,
    li.support as limit_support,
    li.read_at as limit_read_at
from fit_input_series as c
join known_vehicles as kv on kv.vehicle_id = c.vehicle_id
join positions as p on p.position_id = c.position_id
join known_limits as li
    on li.kind = p.kind
    and (li.model is null or li.model = kv.model)
    and (li.place is null or li.place = p.place)
    and (li.direction is null or li.direction = c.direction)
left join last_measured as lv
    on lv.vehicle_id = c.vehicle_id
    and lv.position_id = c.position_id
    and lv.life_no = c.life_no
    and lv.direction = c.direction
where c.is_current
order by c.vehicle_id, c.series, rank
