-- The dated odometer entries on record of the vehicles asked about. A voice is an entry of a refused row that is
-- not settled: it is heard, but it is not in the store.
select
    e.vehicle_id,
    e.on_date,
    e.odometer_km,
    e.table_name,
    e.row_id,
    e.is_voice
from (
    select vehicle_id, visit_date as on_date, odometer_km, 'visits' as table_name, visit_id as row_id, false as is_voice
    from visits
    where odometer_km is not null
    union all
    select vehicle_id, work_date, odometer_km, 'work', work_id, false
    from work
    where odometer_km is not null
    union all
    select vehicle_id, done_date, done_odometer_km, 'services', service_id, false
    from services
    where done_odometer_km is not null
    union all
    select vehicle_id, entry_date, odometer_km, 'odometer', odometer_id, false
    from odometer
    union all
    select vehicle_id, in_service_date, in_service_odometer_km, 'vehicles', vehicle_row_id, false
    from vehicles
    where in_service_date is not null and in_service_odometer_km is not null
    union all
    select r.vehicle_id, r.entry_date, r.odometer_km, 'quarantine', r.quarantine_id, true
    from refused_odometer as r
    anti join settled_rows as s on s.quarantine_id = r.quarantine_id
) as e
inner join vehicles_asked as a on a.vehicle_id = e.vehicle_id
anti join not_counting as aside on aside.table_name = e.table_name and aside.row_id = e.row_id
order by e.vehicle_id, e.on_date, e.odometer_km, e.is_voice, e.table_name, e.row_id
