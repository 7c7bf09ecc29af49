insert into wheel_limits (
    wheel_limit_id, model, wheel_part, weight_class, bead_from_in, bead_to_in, direction, method, support, read_at,
    bearings_adjusted, limit_mm, limit_written, limit_unit, basis, source, note, valid_from, load_id, source_row,
    row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    c.model,
    c.wheel_part,
    c.weight_class,
    c.bead_from_in,
    c.bead_to_in,
    c.direction,
    c.method,
    c.support,
    c.read_at,
    c.bearings_adjusted,
    c.limit_mm,
    c.limit_number,
    c.limit_unit,
    c.basis,
    c.source,
    c.note,
    c.valid_from,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
order by c.n
