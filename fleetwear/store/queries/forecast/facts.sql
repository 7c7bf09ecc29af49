-- What is known, before any forecast, of every current joint in every load direction: the last reading, the limit
-- that applies at the moment, a symptom or question that is still open. Needs the tables of known/ and those of
-- fit/series and fit/readings.
create or replace temp table forecast_facts as
with current as (
    select s.*, l.start_date, l.start_km
    from fit_input_series as s
    join known_lives as l
        on l.vehicle_id = s.vehicle_id and l.position_id = s.position_id and l.life_no = s.life_no
    where s.is_current
),

last_visit as (
    select v.*
    from known_series_visits as v
    qualify row_number() over (
        partition by v.vehicle_id, v.position_id, v.life_no, v.direction
        order by v.visit_date desc, v.running_km desc, v.timing
    ) = 1
),

-- The last reading with a number: a later look that measured nothing does not undo it.
last_measured as (
    select v.*
    from known_series_visits as v
    where v.result = 'measured'
    qualify row_number() over (
        partition by v.vehicle_id, v.position_id, v.life_no, v.direction
        order by v.visit_date desc, v.running_km desc, v.timing
    ) = 1
),

visit_counts as (
    select vehicle_id, position_id, life_no, direction, count(distinct visit_id) as n_visits
    from known_series_visits
    group by vehicle_id, position_id, life_no, direction
),

-- A symptom stands until the joint is replaced or adjusted on that day or later, or a later visit says that it is gone.
symptom as (
    select
        v.vehicle_id,
        v.symptom_position_id as position_id,
        v.visit_date,
        coalesce(v.complaint, 'symptom') as complaint,
        v.symptom_confirmed
    from known_visits as v
    where v.symptom_confirmed is not null
    qualify row_number() over (
        partition by v.vehicle_id, v.symptom_position_id
        order by v.visit_date desc, v.visit_id desc
    ) = 1
),

open_question as (
    select
        vehicle_id,
        position_id,
        life_no,
        direction,
        arg_max(question, visit_date) as question,
        max(play_mm) as asked_play_mm
    from known_readings
    where question_state = 'open'
    group by vehicle_id, position_id, life_no, direction
),

-- The most specific limit that has begun, the newest first among equals. One that names the way in which the
-- joint was read goes before one that names another.
limit_of as (
    select
        c.series,
        li.limit_id,
        li.limit_mm,
        li.source,
        li.basis,
        li.valid_from,
        li.method,
        li.support,
        li.read_at
    from current as c
    join known_vehicles as kv on kv.vehicle_id = c.vehicle_id
    join positions as p on p.position_id = c.position_id
    cross join known_moment as m
    join known_limits as li
        on li.kind = p.kind
        and (li.model is null or li.model = kv.model)
        and (li.place is null or li.place = p.place)
        and (li.direction is null or li.direction = c.direction)
        and li.valid_from <= m.as_of
    left join last_measured as lv
        on lv.vehicle_id = c.vehicle_id
        and lv.position_id = c.position_id
        and lv.life_no = c.life_no
        and lv.direction = c.direction
    qualify row_number() over (
        partition by c.series
        order by
            (li.model is not null)::int * 4 + (li.place is not null)::int * 2 + (li.direction is not null)::int desc,
            case when li.method = lv.method then 2 when li.method is null then 1 else 0 end desc,
            case when li.read_at = lv.read_at then 2 when li.read_at is null then 1 else 0 end desc,
            case when li.support = lv.support then 2 when li.support is null then 1 else 0 end desc,
            li.valid_from desc,
            li.limit_id desc
    ) = 1
)

select
    c.series,
    c.vehicle_id,
    c.position_id,
    c.direction,
    c.life_no,
    c.kind,
    c.cohort,
    c.origin,
    p.joint,
    kv.unit,
    kv.model,
    kv.depot,
    kv.play_unit,
    kv.distance_unit,
    kv.distance_source,
    c.start_date as life_start_date,
    c.start_km as life_start_km,
    coalesce(vc.n_visits, 0)::integer as n_visits,
    lv.visit_id as last_visit_id,
    lv.visit_date as last_date,
    lv.result as last_result,
    me.visit_date as measured_date,
    me.play_mm as last_play_mm,
    me.largest_mm as last_largest_mm,
    case when me.visit_id is not null then me.method else lv.method end as last_method,
    case when me.visit_id is not null then me.read_at else lv.read_at end as last_read_at,
    case when me.visit_id is not null then me.support else lv.support end as last_support,
    coalesce(me.way, lv.way) as last_way,
    case
        when sy.symptom_confirmed and (c.life_no = 1 or c.start_date < sy.visit_date)
            then sy.complaint || ' confirmed on ' || strftime(sy.visit_date, '%Y-%m-%d')
        else ''
    end as symptom,
    coalesce(q.question, '') as question,
    q.asked_play_mm,
    li.limit_id,
    li.limit_mm,
    li.source as limit_source,
    li.basis as limit_basis,
    li.valid_from as limit_valid_from,
    li.method as limit_method,
    li.support as limit_support,
    li.read_at as limit_read_at
from current as c
join known_vehicles as kv on kv.vehicle_id = c.vehicle_id
join positions as p on p.position_id = c.position_id
left join last_visit as lv
    on lv.vehicle_id = c.vehicle_id
    and lv.position_id = c.position_id
    and lv.life_no = c.life_no
    and lv.direction = c.direction
left join last_measured as me
    on me.vehicle_id = c.vehicle_id
    and me.position_id = c.position_id
    and me.life_no = c.life_no
    and me.direction = c.direction
left join visit_counts as vc
    on vc.vehicle_id = c.vehicle_id
    and vc.position_id = c.position_id
    and vc.life_no = c.life_no
    and vc.direction = c.direction
left join symptom as sy on sy.vehicle_id = c.vehicle_id and sy.position_id = c.position_id
left join open_question as q
    on q.vehicle_id = c.vehicle_id
    and q.position_id = c.position_id
    and q.life_no = c.life_no
    and q.direction = c.direction
left join limit_of as li on li.series = c.series
order by c.vehicle_id
