-- Which of session, stroke and shop stood in the row that brought a reading: its key is that of what was written.
with said as (
    select
        r.row_key,
        r.vehicle_id,
        v.visit_date,
        v.odometer_km,
        r.technician,
        r.position_id,
        r.direction,
        r.method,
        r.support,
        r.read_at,
        r.indicator,
        r.instrument,
        r.session,
        r.stroke,
        r.timing,
        r.result,
        r.play_mm,
        r.resolution_mm,
        sessions.with_session,
        strokes.with_stroke,
        shops.shop
    from readings as r
    inner join visits as v on v.visit_id = r.visit_id
    cross join (values (false), (true)) as sessions (with_session)
    cross join (values (false), (true)) as strokes (with_stroke)
    inner join (
        select visit_id, shop from visits
        union
        select visit_id, shop from visit_notes
        union
        select visit_id, null from visits
    ) as shops on shops.visit_id = r.visit_id
    where r.reading_id = $reading_id
)
select with_session, with_stroke, shop
from said, range(1, 200) as times (k)
where row_key = md5(
    reading_content(
        visit_said(vehicle_id, visit_date, odometer_km), shop, technician, position_id, direction, method, support, read_at,
        indicator, instrument, case when with_session then session end, case when with_stroke then stroke end,
        timing, result, play_mm, resolution_mm
    ) || k::varchar
)
order by k, with_session, with_stroke, shop
limit 1
