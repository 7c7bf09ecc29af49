create or replace temp table kept_made_in as
select distinct s.made_in as forecast_id
from forecast_sources as s
semi join kept_forecasts as k on k.forecast_id = s.forecast_id
