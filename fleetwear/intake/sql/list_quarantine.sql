select
    q.quarantine_id as number,
    q.file_name as file,
    q.sheet,
    q.source_row as row,
    q.table_name as "table",
    q.reasons,
    q.cells::varchar as cells,
    s.quarantine_id is not null as settled
from quarantine as q
left join settled_rows as s on s.quarantine_id = q.quarantine_id
where $include_settled or s.quarantine_id is null
order by q.quarantine_id
