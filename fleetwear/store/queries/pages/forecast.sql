select f.forecast_id, f.fit_id, f.as_of, f.known_by, f.made_at, f.version, f.settings
from forecasts as f
where $forecast_id is null or f.forecast_id = $forecast_id
order by f.forecast_id desc
limit 1
