-- Where the visits stood that were moved since, and the visit that stands for each.
create or replace temp view former_visits as
select moved.standing_id, v.visit_id, v.vehicle_id, v.visit_date, v.odometer_km
from standing_rows as moved
inner join visits as v on v.visit_id = moved.row_id
where moved.table_name = 'visits' and moved.standing_id is not null
