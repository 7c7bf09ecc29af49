insert into limits (
    limit_id, model, kind, place, direction, method, support, read_at, limit_mm, limit_written, limit_unit, basis, source,
    valid_from, load_id, source_row, row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    c.model,
    c.kind,
    c.place,
    c.direction,
    c.method,
    c.support,
    c.read_at,
    c.limit_mm,
    c.limit_number,
    c.limit_unit,
    c.basis,
    c.source,
    c.valid_from,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
order by c.n
