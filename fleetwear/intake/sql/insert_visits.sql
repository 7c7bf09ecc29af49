-- What the sheet's visit rows say of their visits; the visits themselves are in already.
insert into visit_notes (
    visit_note_id, visit_id, shop, technician, complaint, symptom_confirmed, symptom_position_id, secured, note,
    load_id, source_row, row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    coalesce(c.visit_id, $first_visit_id + fresh.place),
    c.shop,
    c.technician,
    c.complaint,
    c.symptom_confirmed,
    c.symptom_position_id,
    c.secured,
    c.note,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
left join new_visits as fresh
    on fresh.vehicle_id = c.vehicle_id and fresh.visit_date = c.visit_date
    and fresh.visit_odometer_km is not distinct from c.visit_odometer_km
order by c.n
