-- The visits, stored or asked for by the sheet, on the vehicle-days that its good rows touch. On one day, odometer
-- values within 0.05 km of each other are one visit; without an odometer a vehicle has one visit a day.
create or replace temp table visit_clusters as
with touched as (
    select distinct vehicle_id, visit_date
    from checked
    where len(reasons) = 0
),
spots as (
    select
        v.vehicle_id,
        v.visit_date,
        v.odometer_km,
        v.visit_id,
        aside.quarantine_id,
        null::bigint as first_n
    from visits as v
    inner join touched on touched.vehicle_id = v.vehicle_id and touched.visit_date = v.visit_date
    left join set_aside as aside on aside.table_name = 'visits' and aside.row_id = v.visit_id
    union all
    select vehicle_id, visit_date, odometer_km, null, null, min(n)
    from checked
    where len(reasons) = 0 and odometer_km is not null
    group by vehicle_id, visit_date, odometer_km
),
steps as (
    select
        s.*,
        case when s.odometer_km - lag(s.odometer_km) over days > 0.05 then 1 else 0 end as step
    from spots as s
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
    coalesce(arg_min(odometer_km, visit_id), arg_min(odometer_km, first_n)) as visit_odometer_km,
    min(visit_id) as visit_id,
    min(quarantine_id) as aside_as
from numbered
group by vehicle_id, visit_date, cluster_no
union all
select vehicle_id, visit_date, null, null, null, min(visit_id), min(quarantine_id)
from spots
where odometer_km is null
group by vehicle_id, visit_date
