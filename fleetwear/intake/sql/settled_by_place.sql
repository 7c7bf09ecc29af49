-- The open quarantined rows from the same place in a file of the same name as a good row of the sheet.
select q.quarantine_id, keyed.n, q.cells::varchar as cells
from keyed
inner join quarantine as q
    on q.file_name = $file_name and q.sheet is not distinct from $sheet and q.table_name = $table_name
    and q.source_row = keyed.source_row
anti join settled_rows as s on s.quarantine_id = q.quarantine_id
anti join refused_in_sheet as bad on bad.n = keyed.n
order by q.quarantine_id
