-- The recorded swaps of the instrument on the vehicles asked about, stored or in the sheet (then with its row).
select s.vehicle_id, s.entry_date as on_date, s.odometer_km, s.new_odometer_km, s.odometer_id as row_id
from odometer as s
inner join vehicles_asked as a on a.vehicle_id = s.vehicle_id
anti join not_counting as aside on aside.table_name = 'odometer' and aside.row_id = s.odometer_id
where s.event = 'swap'
order by s.vehicle_id, s.entry_date, s.odometer_id
