-- The units of play and distance that the vehicles are read in, the most frequent first. Needs the tables of known/.
select play_unit, distance_unit
from known_vehicles
group by play_unit, distance_unit
order by count(*) desc, play_unit, distance_unit
