create or replace temp table kept_forecasts as
select forecast_id, fit_id
from forecasts
order by forecast_id desc
limit $keep
