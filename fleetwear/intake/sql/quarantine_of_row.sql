-- The open quarantined copies of a row that was set aside; with a visit, of its readings and of what was said of it.
select distinct a.quarantine_id
from set_aside as a
anti join settled_rows as s on s.quarantine_id = a.quarantine_id
where (a.table_name = $table_name and a.row_id = $row_id)
    or ($table_name = 'visits' and a.table_name = 'readings' and a.row_id in (
        select reading_id from readings where visit_id = $row_id
    ))
    or ($table_name = 'visits' and a.table_name = 'visit_notes' and a.row_id in (
        select visit_note_id from visit_notes where visit_id = $row_id
    ))
order by a.quarantine_id
