-- What was measured of each life, a visit's mean; what the eye alone judged is left out.
select l.life, r.life_distance_km as distance_km, r.play_mm
from known_series_visits as r
join effect_lives as l
    on l.vehicle_id = r.vehicle_id
    and l.position_id = r.position_id
    and l.life_no = r.life_no
    and l.direction = r.direction
where r.result = 'measured'
order by l.life, r.life_distance_km
