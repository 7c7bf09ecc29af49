-- Another vehicle that bears the identification number which a corrected row newly gives to its own: kept_vehicle.
select c.vin, min(v.unit) as unit
from checked as c
inner join kept_vehicle as old on vin_of(c.vin) is distinct from vin_of(old.vin)
inner join vehicles as v on vin_of(v.vin) = vin_of(c.vin) and v.vehicle_id <> old.vehicle_id
anti join superseded as gone on gone.table_name = 'vehicles' and gone.row_id = v.vehicle_row_id
group by c.vin
order by c.vin
