-- What the first row of each combination of cells that tell of a visit says of it.
select
    c.n,
    c.vehicle_id,
    c.model,
    c.visit_date,
    c.odometer_km,
    c.odometer_written,
    c.odometer_unit,
    c.visit_id,
    c.visit_odometer_km,
    c.aside_as,
    c.withdrawn_as,
    c.visit_said,
    len(c.reasons) > 0 as is_refused
from placed_readings as c
order by c.n
