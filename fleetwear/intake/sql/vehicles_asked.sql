-- The vehicles whose odometer entries the sheet adds to.
create or replace temp table vehicles_asked as
select distinct c.entry_vehicle_id as vehicle_id
from taken as c
where c.entry_vehicle_id is not null and c.entry_date is not null and c.entry_odometer_km is not null
