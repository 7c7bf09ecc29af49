select
    l.life,
    r.distance_km,
    r.play_mm,
    r.variance_ratio,
    r.seen,
    r.way,
    r.resolution_mm,
    r.shop,
    r.technician,
    r.strokes,
    r.setup_share,
    r.squares,
    r.degrees
from fit_group_lives as l
join fit_input_readings as r on r.series = l.series
order by l.life, r.distance_km, r.timing desc, r.visit_id
