-- One row is one day on which a joint that has a mate across the axle was measured: how far it had run, whether it was
-- over the limit of that day in any load direction, and when its mate first had a confirmed symptom. Needs the tables
-- of known/.
create or replace temp table forecast_looks as
with limited as (
    select s.vehicle_id, s.position_id, s.life_no, s.visit_date, s.life_distance_km, s.largest_mm, li.limit_mm
    from known_series_visits as s
    join known_vehicles as kv on kv.vehicle_id = s.vehicle_id
    join positions as p on p.position_id = s.position_id
    join known_limits as li
        on li.kind = p.kind
        and (li.model is null or li.model = kv.model)
        and (li.place is null or li.place = p.place)
        and (li.direction is null or li.direction = s.direction)
        and li.valid_from <= s.visit_date
    where s.result = 'measured'
    qualify row_number() over (
        partition by s.vehicle_id, s.position_id, s.life_no, s.direction, s.visit_id, s.timing
        order by
            (li.model is not null)::int * 4 + (li.place is not null)::int * 2 + (li.direction is not null)::int desc,
            case when li.method = s.method then 2 when li.method is null then 1 else 0 end desc,
            case when li.read_at = s.read_at then 2 when li.read_at is null then 1 else 0 end desc,
            case when li.support = s.support then 2 when li.support is null then 1 else 0 end desc,
            li.valid_from desc,
            li.limit_id desc
    ) = 1
),

looks as (
    select
        vehicle_id,
        position_id,
        visit_date,
        max(life_distance_km) as run_km,
        bool_or(largest_mm > limit_mm * (1 + 1e-9)) as is_over
    from limited
    group by vehicle_id, position_id, visit_date
),

symptoms as (
    select vehicle_id, symptom_position_id as position_id, min(visit_date) as symptom_date
    from known_visits
    where symptom_confirmed and symptom_position_id is not null
    group by vehicle_id, symptom_position_id
)

select
    l.vehicle_id,
    l.position_id,
    own.kind,
    mate.position_id as mate_id,
    l.visit_date,
    l.run_km,
    l.is_over,
    s.symptom_date as mate_symptom_date
from looks as l
join positions as own on own.position_id = l.position_id and own.side in ('left', 'right')
join positions as mate
    on mate.model = own.model
    and mate.axle = own.axle
    and mate.kind = own.kind
    and mate.place is not distinct from own.place
    and mate.side in ('left', 'right')
    and mate.side <> own.side
left join symptoms as s on s.vehicle_id = l.vehicle_id and s.position_id = mate.position_id
order by own.kind, l.vehicle_id, l.position_id, l.visit_date
