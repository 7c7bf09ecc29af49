-- Of the series to be fitted only those of vehicles_to_know, numbered anew from 0 in the same order.
create or replace temp table series_to_know as
select row_number() over (order by s.series) - 1 as number, s.*
from fit_input_series as s
semi join vehicles_to_know as v on v.vehicle_id = s.vehicle_id
