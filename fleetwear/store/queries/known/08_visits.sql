-- Visits with what had been said of them, and the running distance; for a vehicle without an odometer it is
-- estimated from dates.
create or replace temp table known_visits as
with notes as (
    select
        coalesce(same.same_as, n.visit_id) as visit_id,
        arg_max(n.shop, n.visit_note_id) filter (where n.shop is not null) as shop,
        arg_max(n.technician, n.visit_note_id) filter (where n.technician is not null) as technician,
        arg_max(n.complaint, n.visit_note_id) filter (where n.complaint is not null) as complaint,
        arg_max(n.symptom_confirmed, n.visit_note_id)
            filter (where n.symptom_confirmed is not null) as symptom_confirmed,
        arg_max(n.symptom_position_id, n.visit_note_id)
            filter (where n.symptom_position_id is not null) as symptom_position_id,
        arg_max(n.note, n.visit_note_id) filter (where n.note is not null) as note
    from visit_notes as n
    join known_loads on known_loads.load_id = n.load_id
    left join known_same_visits as same on same.visit_id = n.visit_id
    anti join known_set_aside as a on a.table_name = 'visit_notes' and a.row_id = n.visit_note_id
    group by coalesce(same.same_as, n.visit_id)
)

select
    d.visit_id,
    d.vehicle_id,
    d.visit_date,
    d.odometer_km,
    coalesce(notes.shop, d.shop) as shop,
    coalesce(notes.technician, d.technician) as technician,
    notes.complaint,
    notes.symptom_confirmed,
    notes.symptom_position_id,
    notes.note,
    case
        when s.distance_source = 'none'
            then greatest(date_diff('day', s.start_date, d.visit_date), 0) * m.assumed_km_per_day
        else e.running_km
    end as running_km
from visits as d
join known_loads on known_loads.load_id = d.load_id
join known_moment as m on d.visit_date <= m.as_of
join known_starts as s on s.vehicle_id = d.vehicle_id
left join notes on notes.visit_id = d.visit_id
left join known_entries as e on e.table_name = 'visits' and e.row_id = d.visit_id
anti join known_set_aside as a on a.table_name = 'visits' and a.row_id = d.visit_id
anti join known_same_visits as same on same.visit_id = d.visit_id
