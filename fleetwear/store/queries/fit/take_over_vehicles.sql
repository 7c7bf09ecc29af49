-- What a fit knows of each vehicle of its moment (states: vehicle_id, state): found by itself, or taken over from $base.
insert into fit_vehicles (fit_id, vehicle_id, found_in, state)
select $fit_id, s.vehicle_id, case when s.is_new then $fit_id else b.found_in end, s.state
from states as s
left join fit_vehicles as b on b.fit_id = $base and b.vehicle_id = s.vehicle_id
