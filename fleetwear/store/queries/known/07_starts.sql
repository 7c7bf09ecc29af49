-- Where each vehicle's distance starts. A vehicle with an in-service date but no odometer value then is taken
-- to have started at zero; one without the date has an unknown origin, counted from its first entry on.
create or replace temp table known_starts as
select
    v.vehicle_id,
    v.distance_source,
    first.in_service_date,
    first.in_service_date is not null as origin_known,
    coalesce(first.in_service_date, least(e.first_date, visited.first_date)) as start_date,
    case
        when v.distance_source = 'none' then 0.0
        when first.in_service_date is not null then coalesce(first.in_service_odometer_km, 0.0)
        else coalesce(e.first_km, 0.0)
    end as start_km
from known_vehicles as v
left join (
    select
        vehicle_id,
        arg_min(in_service_date, valid_from) filter (where in_service_date is not null) as in_service_date,
        arg_min(in_service_odometer_km, valid_from)
            filter (where in_service_odometer_km is not null and a.row_id is null) as in_service_odometer_km
    from vehicles
    join known_loads using (load_id)
    anti join known_superseded as s on s.table_name = 'vehicles' and s.row_id = vehicle_row_id
    left join known_set_aside as a on a.table_name = 'vehicles' and a.row_id = vehicle_row_id
    group by vehicle_id
) as first using (vehicle_id)
left join (
    select vehicle_id, min(entry_date) as first_date, min(running_km) as first_km
    from known_entries
    group by vehicle_id
) as e using (vehicle_id)
left join (
    select i.vehicle_id, min(i.visit_date) as first_date
    from visits as i
    join known_loads using (load_id)
    join known_moment as m on i.visit_date <= m.as_of
    anti join known_set_aside as a on a.table_name = 'visits' and a.row_id = i.visit_id
    group by i.vehicle_id
) as visited using (vehicle_id)
