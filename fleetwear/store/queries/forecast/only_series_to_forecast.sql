-- Of the series only those of vehicles_to_forecast, under their numbers.
create or replace temp table fit_input_series as
select s.*
from fit_input_series as s
semi join vehicles_to_forecast as v on v.vehicle_id = s.vehicle_id
