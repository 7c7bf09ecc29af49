-- One row is one life in one load direction that a comparison of growth takes, with the level of each factor. Lives of
-- unknown origin, and those of vehicles whose distance is estimated from dates, have no growth with distance to compare.
-- A part that was adjusted is still of its supplier. A life during which its vehicle moved belongs where most of its
-- readings were taken. Lives of which nothing was measured come in where $every_result is true.
create or replace temp table effect_lives as
with parts as (
    select
        vehicle_id,
        position_id,
        life_no,
        origin,
        max(case when origin <> 'adjustment' then life_no end) over (
            partition by vehicle_id, position_id order by life_no
        ) as part_life_no
    from known_lives
),

suppliers as (
    select
        parts.vehicle_id,
        parts.position_id,
        parts.life_no,
        case
            when part.origin = 'replacement' then coalesce(part.supplier, 'not recorded')
            else 'original'
        end as supplier
    from parts
    join known_lives as part
        on part.vehicle_id = parts.vehicle_id
        and part.position_id = parts.position_id
        and part.life_no = parts.part_life_no
    where parts.origin <> 'unknown' and part.origin <> 'unknown'
),

versions as (
    select v.vehicle_id, v.valid_from, v.model, v.depot, v.duty
    from vehicles as v
    join known_loads using (load_id)
    cross join known_moment as m
    anti join known_superseded as gone on gone.table_name = 'vehicles' and gone.row_id = v.vehicle_row_id
    where v.valid_from <= m.as_of
    qualify row_number() over (partition by v.vehicle_id, v.valid_from order by v.vehicle_row_id desc) = 1
),

read as (
    select
        r.vehicle_id,
        r.position_id,
        r.life_no,
        r.direction,
        coalesce(own.depot, v.depot, 'not recorded') as depot,
        coalesce(own.duty, v.duty, 'not recorded') as duty,
        coalesce(own.model, v.model) as model,
        count(*) as readings,
        max(r.visit_date) as last_date
    from known_series_visits as r
    join known_vehicles as v on v.vehicle_id = r.vehicle_id
    asof left join versions as own on own.vehicle_id = r.vehicle_id and own.valid_from <= r.visit_date
    where $every_result or r.result = 'measured'
    group by all
),

placed as (
    select *
    from read
    qualify row_number() over (
        partition by vehicle_id, position_id, life_no, direction
        order by readings desc, last_date desc, depot, duty, model
    ) = 1
)

select
    row_number() over (order by p.kind, r.vehicle_id, r.position_id, r.life_no, r.direction) - 1 as life,
    r.vehicle_id,
    r.position_id,
    r.life_no,
    r.direction,
    p.kind,
    r.depot,
    r.duty,
    coalesce(p.side, 'no side') as side,
    s.supplier,
    r.model
from placed as r
join positions as p on p.position_id = r.position_id
join known_starts as st on st.vehicle_id = r.vehicle_id
join suppliers as s
    on s.vehicle_id = r.vehicle_id and s.position_id = r.position_id and s.life_no = r.life_no
where st.distance_source <> 'none'
