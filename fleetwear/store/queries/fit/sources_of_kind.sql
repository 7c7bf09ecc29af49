-- Where the readings of a kind come from, those of unknown origin too.
select series, visit_id, timing, way, shop, technician, strokes, setup_share, is_measured
from fit_input_readings
where kind = $kind
order by series, visit_id, timing
