create or replace temp table kept_found_in as
select distinct v.found_in as fit_id
from fit_vehicles as v
semi join kept_fits as k on k.fit_id = v.fit_id
