-- The readings of series_to_know, under their new numbers.
create or replace temp table fit_input_readings as
select r.* replace (s.number as series)
from fit_input_readings as r
join series_to_know as s on s.series = r.series
