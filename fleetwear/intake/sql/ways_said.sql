-- The ways in which the readings taken in were read.
create or replace temp table ways_said as
select distinct c.direction, c.method, c.support, c.read_at, c.indicator, c.instrument, c.technician, c.timing
from placed_readings as c
anti join left_out on left_out.n = c.n
where len(c.reasons) = 0
