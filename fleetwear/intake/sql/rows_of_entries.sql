-- Every row of the sheet that has one of the refused odometer entries.
select
    c.n,
    any_value(r.reason) as reason,
    any_value(r.vehicle_id) as vehicle_id,
    any_value(c.entry_date) as on_date,
    any_value(r.odometer_km) as odometer_km
from refused_entries as r
inner join taken as c
    on c.entry_vehicle_id = r.vehicle_id and c.entry_date = r.on_date::date and c.entry_odometer_km = r.odometer_km
group by c.n
order by c.n
