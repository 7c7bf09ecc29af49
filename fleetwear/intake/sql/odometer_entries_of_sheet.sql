-- The sheet's distinct odometer entries, each with the first row that has it.
select
    min(c.n) as n,
    c.entry_vehicle_id as vehicle_id,
    c.entry_date as on_date,
    c.entry_odometer_km as odometer_km
from taken as c
where c.entry_vehicle_id is not null and c.entry_date is not null and c.entry_odometer_km is not null
group by c.entry_vehicle_id, c.entry_date, c.entry_odometer_km, case when $each_row then c.n end
order by n
