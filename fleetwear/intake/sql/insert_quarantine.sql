insert into quarantine (quarantine_id, load_id, file_name, sheet, table_name, source_row, cells, reasons)
select
    $first_id + row_number() over (order by source_row, n) - 1,
    $load_id,
    $file_name,
    $sheet,
    $table_name,
    source_row,
    cells::json,
    reasons
from refused_rows
order by source_row, n
