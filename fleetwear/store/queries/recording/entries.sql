-- The dated odometer values on record of a vehicle.
select e.on_date, e.odometer_km
from (
    select vehicle_id, visit_date as on_date, odometer_km, 'visits' as table_name, visit_id as row_id
    from visits
    union all
    select vehicle_id, work_date, odometer_km, 'work', work_id
    from work
    union all
    select vehicle_id, done_date, done_odometer_km, 'services', service_id
    from services
    union all
    select vehicle_id, entry_date, odometer_km, 'odometer', odometer_id
    from odometer
    union all
    select vehicle_id, in_service_date, in_service_odometer_km, 'vehicles', vehicle_row_id
    from vehicles
) as e
anti join not_counting as a on a.table_name = e.table_name and a.row_id = e.row_id
where e.vehicle_id = $vehicle_id and e.on_date is not null and e.odometer_km is not null
order by e.on_date, e.odometer_km
