-- Readings with their visit and their odometer entry. It stays a view: what it gives is written once, into the store, and
-- of the rest only what the checks need.
create or replace temp view placed_readings as
select
    c.* exclude (reasons),
    v.visit_id,
    v.visit_odometer_km,
    v.aside_as,
    v.withdrawn_as,
    v.visit_said,
    way_said(
        c.shop, c.technician, c.position_id, c.direction, c.method, c.support, c.read_at, c.indicator, c.session,
        c.stroke, c.timing
    ) as way_said,
    play_said(c.result, c.play_mm, c.resolution_mm) as play_said,
    hash(v.visit_said, c.position_id, c.direction, c.timing, c.method) as place,
    case
        when v.reason is not null then c.reasons || [v.reason]
        when v.reason_with_distance is not null and c.distance_source <> 'none'
            then c.reasons || [v.reason_with_distance]
        else c.reasons
    end as reasons
from read_rows as c
left join visit_of_spots as v
    on v.vehicle_id = c.vehicle_id and v.visit_date = c.visit_date
    and v.odometer_km is not distinct from c.odometer_km and len(c.reasons) = 0
