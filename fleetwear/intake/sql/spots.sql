-- The days and odometer values at which the sheet's good rows speak of a visit, each with the first row that does.
create or replace temp table spots as
select vehicle_id, visit_date, odometer_km, min(n) as first_n
from read_rows
where len(reasons) = 0
group by vehicle_id, visit_date, odometer_km
