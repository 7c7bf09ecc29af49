-- The lives of one group of kind and direction (an empty direction stands for all) that the population is
-- fitted to: those of known origin with a reading, numbered from 0.
create or replace temp table fit_group_lives as
select
    row_number() over (order by s.series) - 1 as life,
    s.series,
    s.vehicle_id,
    s.cohort
from fit_input_series as s
where s.kind = $kind
    and ($direction = '' or s.direction = $direction)
    and s.origin <> 'unknown'
    and exists (select 1 from fit_input_readings as r where r.series = s.series)
