create or replace temp table fit_input_series as
select s.* exclude (number) replace (number as series)
from series_to_know as s
