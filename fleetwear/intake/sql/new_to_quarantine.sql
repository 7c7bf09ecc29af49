-- The refused rows that are not in quarantine just so from the same place.
select r.n
from refused_rows as r
anti join quarantine as q
    on q.file_name = $file_name and q.sheet is not distinct from $sheet and q.table_name = $table_name
    and q.source_row = r.source_row and q.cells::varchar = r.cells
order by r.n
