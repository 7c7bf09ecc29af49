create or replace temp table fitted_vehicles as
select vehicle_id, found_in
from fit_vehicles
where fit_id = $fit_id
