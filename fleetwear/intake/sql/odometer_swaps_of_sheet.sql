select c.vehicle_id, c.on_date, c.odometer_km, c.new_odometer_km, -1 as row_id, c.n
from taken as c
where c.event = 'swap'
order by c.n
