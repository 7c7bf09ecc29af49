-- The measured readings by the moment, of every series that fit/series numbered.
select series, distance_km, play_mm
from fit_input_readings
where is_measured
order by series, distance_km
