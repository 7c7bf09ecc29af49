-- Vehicles whose record is another than when an earlier fit found what is known of them, or that it did not have.
create or replace temp table vehicles_to_know as
select n.vehicle_id
from fit_states as n
left join fit_vehicles as b on b.fit_id = $fit_id and b.vehicle_id = n.vehicle_id
where b.state is distinct from n.state
