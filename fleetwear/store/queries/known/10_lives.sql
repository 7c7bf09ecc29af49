-- One row is one life: a part at a position from its installation, or since it was last adjusted.
create or replace temp table known_lives as
with starts as (
    select
        v.vehicle_id,
        p.position_id,
        0 as ordinal,
        s.start_date,
        s.start_km,
        case when s.origin_known then 'in service' else 'unknown' end as origin,
        null::varchar as supplier,
        null::varchar as part_number
    from known_vehicles as v
    join positions as p on p.model = v.model
    join known_loads on known_loads.load_id = p.load_id
    join known_starts as s on s.vehicle_id = v.vehicle_id
    union all
    select
        vehicle_id,
        position_id,
        row_number() over (partition by vehicle_id, position_id order by work_date, work_id),
        work_date,
        running_km,
        case work when 'replaced' then 'replacement' else 'adjustment' end,
        supplier,
        part_number
    from known_work
    where work in ('replaced', 'adjusted')
)

select
    vehicle_id,
    position_id,
    (ordinal + 1)::integer as life_no,
    origin,
    start_date,
    start_km,
    supplier,
    part_number,
    lead(start_date) over (partition by vehicle_id, position_id order by ordinal) as end_date,
    ordinal = max(ordinal) over (partition by vehicle_id, position_id) as is_current
from starts
