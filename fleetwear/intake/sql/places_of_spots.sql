-- The place among the new visits of each combination of cells that tells of a visit.
select fresh.place
from combined_spots as s
left join new_visits as fresh
    on fresh.vehicle_id = s.vehicle_id and fresh.visit_date = s.visit_date
    and fresh.visit_odometer_km is not distinct from s.visit_odometer_km
order by s.n
