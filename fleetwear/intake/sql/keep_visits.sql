-- Visit rows with their visit, what they say as a key, and their odometer entry.
create or replace temp table checked as
select
    c.* exclude (reasons),
    v.visit_id,
    v.visit_odometer_km,
    v.aside_as,
    v.withdrawn_as,
    -- Without a note the key is what it was before there were notes.
    to_json([
        c.vehicle_id::varchar, c.visit_date::varchar, round(v.visit_odometer_km, 6)::varchar, c.shop, c.technician,
        c.complaint, c.symptom_confirmed::varchar, c.symptom_position_id::varchar, c.secured
    ] || case when c.note is null then []::varchar[] else [c.note] end)::varchar as content,
    case when v.visit_id is null then c.vehicle_id end as entry_vehicle_id,
    c.visit_date as entry_date,
    v.visit_odometer_km as entry_odometer_km,
    case when v.reason is null then c.reasons else c.reasons || [v.reason] end as reasons
from checked as c
left join visit_of_rows as v on v.n = c.n
