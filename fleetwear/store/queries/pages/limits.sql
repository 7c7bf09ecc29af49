-- Every limit on record, of joints first, then of wheel checks.
select
    'joint' as what,
    model,
    kind as subject,
    place,
    null as weight_class,
    null as bead_from_in,
    null as bead_to_in,
    direction,
    method,
    support,
    read_at,
    limit_mm,
    limit_written,
    limit_unit,
    basis,
    source,
    valid_from,
    null as note
from limits
anti join not_counting as gone on gone.table_name = 'limits' and gone.row_id = limits.limit_id
union all
select
    'wheel',
    model,
    wheel_part,
    null,
    weight_class,
    bead_from_in,
    bead_to_in,
    direction,
    method,
    support,
    read_at,
    limit_mm,
    limit_written,
    limit_unit,
    basis,
    source,
    valid_from,
    note
from wheel_limits
order by what, subject, model nulls first, place nulls first, valid_from, source, bead_from_in nulls first, limit_mm
