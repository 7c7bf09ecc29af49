-- The swaps of a vehicle's instrument.
select o.entry_date as on_date, o.odometer_km as old_km, o.new_odometer_km as new_km
from odometer as o
anti join not_counting as a on a.table_name = 'odometer' and a.row_id = o.odometer_id
where o.vehicle_id = $vehicle_id and o.event = 'swap'
order by o.entry_date, o.odometer_id
