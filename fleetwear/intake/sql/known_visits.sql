-- A visit row is known when it was loaded before, or when its visit is there and it says nothing new of it, or of what
-- it was before it was corrected.
select keyed.n, t.visit_id as row_id
from keyed
inner join visit_notes as t on t.row_key = keyed.row_key
union
select c.n, d.visit_id as row_id
from checked as c
inner join (
    select visit_id, visit_id as standing_id from visits
    union all
    select row_id, standing_id from standing_rows where table_name = 'visits'
) as versions on versions.standing_id = c.visit_id
inner join visit_details as d on d.visit_id = versions.visit_id
where len(c.reasons) = 0
    and (c.shop is null or c.shop = d.shop)
    and (c.technician is null or c.technician = d.technician)
    and (c.complaint is null or c.complaint = d.complaint)
    and (c.symptom_confirmed is null or c.symptom_confirmed = d.symptom_confirmed)
    and (c.symptom_position_id is null or c.symptom_position_id = d.symptom_position_id)
    and (c.secured is null or c.secured = d.secured)
    and (c.note is null or c.note = d.note)
