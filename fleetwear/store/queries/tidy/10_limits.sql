select
    l.limit_id,
    l.model,
    l.kind,
    l.place,
    l.direction as load_direction,
    l.method,
    l.read_at,
    l.limit_mm,
    l.limit_written,
    l.limit_unit as limit_written_unit,
    l.basis,
    l.source,
    l.valid_from,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from main.limits as l
join known.known_loads as k on k.load_id = l.load_id
cross join tidy.about as a
