-- A free note on a visit, beside what else is said of it.
alter table visit_notes add column note varchar;

create or replace view visit_details as
select
    visits.visit_id,
    visits.vehicle_id,
    visits.visit_date,
    visits.odometer_km,
    visits.odometer_written,
    visits.odometer_unit,
    coalesce(notes.shop, visits.shop) as shop,
    coalesce(notes.technician, visits.technician) as technician,
    notes.complaint,
    notes.symptom_confirmed,
    notes.symptom_position_id,
    notes.secured,
    notes.note,
    visits.load_id,
    visits.source_row,
    visits.row_key
from visits
left join (
    select
        visit_id,
        arg_max(shop, visit_note_id) filter (where shop is not null) as shop,
        arg_max(technician, visit_note_id) filter (where technician is not null) as technician,
        arg_max(complaint, visit_note_id) filter (where complaint is not null) as complaint,
        arg_max(symptom_confirmed, visit_note_id) filter (where symptom_confirmed is not null) as symptom_confirmed,
        arg_max(symptom_position_id, visit_note_id) filter (where symptom_position_id is not null)
            as symptom_position_id,
        arg_max(secured, visit_note_id) filter (where secured is not null) as secured,
        arg_max(note, visit_note_id) filter (where note is not null) as note
    from visit_notes
    group by visit_id
) as notes on notes.visit_id = visits.visit_id;
