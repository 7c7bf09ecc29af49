-- Every limit of wheel checks known at the moment; needs the tables of known/.
select
    l.wheel_limit_id,
    l.model,
    l.wheel_part,
    l.weight_class,
    l.bead_from_in,
    l.bead_to_in,
    l.direction,
    l.method,
    l.support,
    l.read_at,
    l.bearings_adjusted,
    l.limit_mm,
    l.limit_written,
    l.limit_unit,
    l.basis,
    l.source,
    l.note,
    l.valid_from
from wheel_limits as l
join known_loads on known_loads.load_id = l.load_id
order by l.wheel_limit_id
