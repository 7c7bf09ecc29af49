create or replace temp table known_services as
select
    s.vehicle_id,
    s.done_date,
    coalesce(e.running_km, v.running_km) as running_km,
    s.interval_km,
    s.interval_months
from services as s
join known_loads on known_loads.load_id = s.load_id
join known_moment as m on s.done_date <= m.as_of
left join known_entries as e on e.table_name = 'services' and e.row_id = s.service_id
left join (
    select vehicle_id, visit_date, max(running_km) as running_km
    from known_visits
    group by vehicle_id, visit_date
) as v on v.vehicle_id = s.vehicle_id and v.visit_date = s.done_date
anti join known_set_aside as a on a.table_name = 'services' and a.row_id = s.service_id
