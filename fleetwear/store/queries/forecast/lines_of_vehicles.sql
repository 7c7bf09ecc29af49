-- The posterior components of some vehicles; needs forecast_lines.
select l.* exclude (vehicle_id)
from forecast_lines as l
where l.vehicle_id in (select unnest($vehicles))
order by l.series, l.shape, l.shift_km, l.onset_km
