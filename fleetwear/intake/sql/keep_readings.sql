-- Readings with their visit, what they say as a key, and their odometer entry.
create or replace temp table checked as
select
    c.* exclude (reasons),
    v.visit_id,
    v.visit_odometer_km,
    v.aside_as,
    concat(
        c.vehicle_id, chr(31), c.visit_date, chr(31), round(v.visit_odometer_km, 6), chr(31), c.shop, chr(31),
        c.technician, chr(31), c.position_id, chr(31), c.direction, chr(31), c.method, chr(31), c.support, chr(31),
        c.read_at, chr(31), c.indicator, chr(31), c.session, chr(31), c.stroke, chr(31), c.timing, chr(31),
        c.result, chr(31), round(c.play_mm, 6), chr(31), round(c.resolution_mm, 6), chr(31) || c.instrument
    ) as content,
    case when v.visit_id is null then c.vehicle_id end as entry_vehicle_id,
    c.visit_date as entry_date,
    v.visit_odometer_km as entry_odometer_km,
    case when v.reason is null then c.reasons else c.reasons || [v.reason] end as reasons
from checked as c
left join visit_of_rows as v on v.n = c.n
