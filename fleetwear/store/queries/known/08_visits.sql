-- Visits with the running distance; for a vehicle without an odometer it is estimated from dates.
create or replace temp table known_visits as
select
    d.visit_id,
    d.vehicle_id,
    d.visit_date,
    d.odometer_km,
    d.shop,
    d.technician,
    d.complaint,
    d.symptom_confirmed,
    d.symptom_position_id,
    case
        when s.distance_source = 'none'
            then greatest(date_diff('day', s.start_date, d.visit_date), 0) * m.assumed_km_per_day
        else e.running_km
    end as running_km
from visit_details as d
join known_loads on known_loads.load_id = d.load_id
join known_moment as m on d.visit_date <= m.as_of
join known_starts as s on s.vehicle_id = d.vehicle_id
left join known_entries as e on e.table_name = 'visits' and e.row_id = d.visit_id
anti join known_set_aside as a on a.table_name = 'visits' and a.row_id = d.visit_id
