-- What the checks need of each reading. place is the same for readings of one joint at one visit in the same way, and
-- hardly ever for others. The key is that of the first row to say so; readings of a visit that is not in the store have
-- none yet, since the store cannot know them.
create or replace temp view kept_readings as
select
    c.n,
    c.source_row,
    c.settles,
    c.vehicle_id,
    c.visit_date,
    c.odometer_km,
    c.odometer_written,
    c.odometer_unit,
    c.shop,
    c.technician,
    c.position_id,
    c.direction,
    c.method,
    c.session,
    c.stroke,
    c.timing,
    c.result,
    c.play_mm,
    c.visit_id,
    c.visit_odometer_km,
    c.aside_as,
    c.withdrawn_as,
    case when c.visit_id is null then c.vehicle_id end as entry_vehicle_id,
    c.visit_date as entry_date,
    c.visit_odometer_km as entry_odometer_km,
    case when c.visit_id is not null then reading_key(c) end as row_key,
    c.place,
    c.reasons
from placed_readings as c
