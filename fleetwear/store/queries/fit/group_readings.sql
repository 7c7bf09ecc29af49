select l.life, r.distance_km, r.play_mm, r.variance_ratio, r.seen, r.way, r.resolution_mm
from fit_group_lives as l
join fit_input_readings as r on r.series = l.series
order by l.life, r.distance_km, r.timing desc, r.visit_id
