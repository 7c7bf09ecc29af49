-- How many visits have the key that a new visit would have.
select count(*) as n
from new_visits as nv
inner join visits as v
    on v.row_key
    = md5(to_json([nv.vehicle_id::varchar, nv.visit_date::varchar, round(nv.visit_odometer_km, 6)::varchar])::varchar)
