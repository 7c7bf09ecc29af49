-- Wheel checks with their visit, what they say as a key, and their odometer entry.
create or replace temp table checked as
select
    c.* exclude (reasons),
    v.visit_id,
    v.visit_odometer_km,
    v.aside_as,
    v.withdrawn_as,
    to_json([
        c.vehicle_id::varchar, c.visit_date::varchar, round(v.visit_odometer_km, 6)::varchar, c.technician, c.axle,
        c.side, c.wheel_part, c.direction, c.method, c.support, c.read_at, c.bearings_adjusted::varchar,
        c.bead_diameter_in::varchar, c.result, round(c.play_mm, 6)::varchar
    ])::varchar as content,
    case when v.visit_id is null then c.vehicle_id end as entry_vehicle_id,
    c.visit_date as entry_date,
    v.visit_odometer_km as entry_odometer_km,
    case when v.reason is null then c.reasons else c.reasons || [v.reason] end as reasons
from checked as c
left join visit_of_rows as v on v.n = c.n
