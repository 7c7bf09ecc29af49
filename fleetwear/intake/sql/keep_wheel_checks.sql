-- Wheel checks with their visit, what they say as a key, and their odometer entry.
create or replace temp table checked as
with placed as (
    select
        c.* exclude (reasons),
        v.visit_id,
        v.visit_odometer_km,
        v.aside_as,
        v.withdrawn_as,
        case when v.visit_id is null then c.vehicle_id end as entry_vehicle_id,
        c.visit_date as entry_date,
        v.visit_odometer_km as entry_odometer_km,
        case
            when v.reason is not null then c.reasons || [v.reason]
            when v.reason_with_distance is not null and c.distance_source <> 'none'
                then c.reasons || [v.reason_with_distance]
            else c.reasons
        end as reasons,
        wheel_check_content(c, c.vehicle_id, c.visit_date, v.visit_odometer_km) as content
    from read_rows as c
    left join visit_of_spots as v
        on v.vehicle_id = c.vehicle_id and v.visit_date = c.visit_date
        and v.odometer_km is not distinct from c.odometer_km and len(c.reasons) = 0
)
select *, md5(content || '1') as row_key
from placed
