-- What the first row of each combination of the other cells says: of the joint and how it was read, and of the play.
select
    c.n,
    c.shop,
    c.technician,
    c.position_id,
    c.direction,
    c.method,
    c.support,
    c.read_at,
    c.indicator,
    c.instrument,
    c.session,
    c.stroke,
    c.timing,
    way_said(
        c.shop, c.technician, c.position_id, c.direction, c.method, c.support, c.read_at, c.indicator, c.session,
        c.stroke, c.timing
    ) as way_said,
    c.result,
    c.play_mm,
    c.play_written,
    c.play_unit,
    c.resolution_mm,
    play_said(c.result, c.play_mm, c.resolution_mm) as play_said,
    len(c.reasons) > 0 as is_refused
from read_rows as c
order by c.n
