-- The visits, stored or asked for by the sheet, on the vehicle-days that its good rows touch. On one day, odometer
-- values within 0.05 km of each other are one visit; without an odometer a vehicle has one visit a day. A visit that was
-- corrected is found where it stood, so that its rows are known again; visit_id is then the one that stands for it.
create or replace temp table visit_clusters as
with touched as (
    select distinct vehicle_id, visit_date
    from spots
),
found as (
    select
        v.vehicle_id,
        v.visit_date,
        v.odometer_km,
        v.visit_id as first_id,
        case when moved.row_id is null then v.visit_id else coalesce(moved.standing_id, v.visit_id) end as visit_id,
        moved.row_id is null as stands,
        case when moved.row_id is not null and moved.standing_id is null then moved.correction_id end as withdrawn_as,
        aside.quarantine_id,
        null::bigint as first_n
    from visits as v
    inner join touched on touched.vehicle_id = v.vehicle_id and touched.visit_date = v.visit_date
    left join standing_rows as moved on moved.table_name = 'visits' and moved.row_id = v.visit_id
    left join set_aside as aside
        on aside.table_name = 'visits' and aside.row_id = v.visit_id and moved.standing_id is null
    -- What is being corrected now has a successor that is not there yet: it is not found.
    where moved.standing_id is null or moved.standing_id in (select w.visit_id from visits as w)
    union all
    select vehicle_id, visit_date, odometer_km, null, null, null, null, null, first_n
    from spots
    where odometer_km is not null
),
steps as (
    select
        s.*,
        case when s.odometer_km - lag(s.odometer_km) over days > 0.05 then 1 else 0 end as step
    from found as s
    where s.odometer_km is not null
    window days as (partition by s.vehicle_id, s.visit_date order by s.odometer_km)
),
numbered as (
    select
        steps.*,
        sum(step) over (
            partition by vehicle_id, visit_date order by odometer_km rows unbounded preceding
        ) as cluster_no
    from steps
)
select
    vehicle_id,
    visit_date,
    min(odometer_km) as lowest_km,
    max(odometer_km) as highest_km,
    coalesce(
        arg_min(odometer_km, first_id) filter (where stands),
        arg_min(odometer_km, first_id),
        arg_min(odometer_km, first_n)
    ) as visit_odometer_km,
    coalesce(min(visit_id) filter (where stands), min(visit_id) filter (where withdrawn_as is null), min(visit_id))
        as visit_id,
    min(first_id) as first_id,
    min(quarantine_id) as aside_as,
    case when bool_and(withdrawn_as is not null) filter (where first_id is not null) then min(withdrawn_as) end
        as withdrawn_as
from numbered
group by vehicle_id, visit_date, cluster_no
union all
select
    vehicle_id,
    visit_date,
    null,
    null,
    null,
    coalesce(min(visit_id) filter (where stands), min(visit_id) filter (where withdrawn_as is null), min(visit_id)),
    min(first_id),
    min(quarantine_id),
    case when bool_and(withdrawn_as is not null) then min(withdrawn_as) end
from found
where odometer_km is null
group by vehicle_id, visit_date
