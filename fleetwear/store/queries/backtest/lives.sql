-- When each life ended, and after what distance; empty while it lasts.
select
    vehicle_id,
    position_id,
    life_no,
    end_date,
    lead(start_km) over (partition by vehicle_id, position_id order by life_no) - start_km as end_distance_km
from known_lives
order by vehicle_id, position_id, life_no
