-- The visit of each day and odometer value that the sheet's good rows speak of: by its odometer value, or as the only
-- visit of its day. A visit that is not in the store yet has no visit_id. visit_said is what a key says of it.
create or replace temp table visit_of_spots as
with days as (
    select
        vehicle_id,
        visit_date,
        count(distinct visit_id) filter (where counts) + count(*) filter (where counts and visit_id is null) as n_good,
        count(*) filter (where not counts) as n_aside,
        min(visit_id) filter (where counts) as good_visit_id,
        coalesce(
            arg_min(visit_odometer_km, first_id) filter (where counts),
            min(visit_odometer_km) filter (where counts)
        ) as good_odometer_km,
        min(visit_id) filter (where not counts) as aside_visit_id,
        min(visit_odometer_km) filter (where not counts) as aside_odometer_km,
        min(aside_as) as aside_as,
        min(withdrawn_as) as withdrawn_as
    from (select *, aside_as is null and withdrawn_as is null as counts from visit_clusters) as clusters
    group by vehicle_id, visit_date
),

placed as (
    select
        c.vehicle_id,
        c.visit_date,
        c.odometer_km,
        k.visit_id,
        k.visit_odometer_km,
        k.aside_as,
        k.withdrawn_as,
        null::varchar as reason,
        null::varchar as reason_with_distance
    from spots as c
    inner join visit_clusters as k
        on k.vehicle_id = c.vehicle_id and k.visit_date = c.visit_date
        and c.odometer_km >= k.lowest_km and c.odometer_km <= k.highest_km
    where c.odometer_km is not null
    union all
    select
        c.vehicle_id,
        c.visit_date,
        c.odometer_km,
        case when days.n_good = 1 then days.good_visit_id when days.n_good = 0 then days.aside_visit_id end,
        case when days.n_good = 1 then days.good_odometer_km when days.n_good = 0 then days.aside_odometer_km end,
        case when coalesce(days.n_good, 0) = 0 then days.aside_as end,
        case when coalesce(days.n_good, 0) = 0 then days.withdrawn_as end,
        case
            when days.n_good > 1
                then days.n_good || ' visits of unit "' || s.unit || '" are on record for ' || c.visit_date
                    || ': write the odometer value, so that they can be told apart'
        end,
        case
            when coalesce(days.n_good, 0) + coalesce(days.n_aside, 0) = 0
                then 'odometer is empty and no visit of unit "' || s.unit || '" is on record for ' || c.visit_date
                    || ': write the odometer value, or load the visit first'
        end
    from spots as c
    left join days on days.vehicle_id = c.vehicle_id and days.visit_date = c.visit_date
    left join (select vehicle_id, any_value(unit) as unit from vehicle_spans group by vehicle_id) as s
        on s.vehicle_id = c.vehicle_id
    where c.odometer_km is null
)

select placed.*, visit_said(vehicle_id, visit_date, visit_odometer_km) as visit_said
from placed
