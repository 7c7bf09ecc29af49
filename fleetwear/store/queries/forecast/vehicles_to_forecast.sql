-- Vehicles of which something is known that an earlier forecast did not know, those that may have come in for their
-- service since, and those that were looked at too long ago.
create or replace temp table vehicles_to_forecast as
select n.vehicle_id
from forecast_states as n
left join forecast_sources as b on b.forecast_id = $forecast_id and b.vehicle_id = n.vehicle_id
left join forecast_vehicles as w on w.forecast_id = $forecast_id and w.vehicle_id = n.vehicle_id
where b.state is distinct from n.state
    or w.next_service_date_05 <= $as_of
    or w.overdue
    or b.looked_from <= $as_of - $days::integer
