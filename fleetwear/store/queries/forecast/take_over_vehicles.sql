-- Whose draws a forecast shows of each vehicle (states: vehicle_id, state, is_new): its own, or those taken over from $base.
insert into forecast_sources (forecast_id, vehicle_id, made_in, looked_from, state)
select
    $forecast_id,
    s.vehicle_id,
    case when s.is_new then $forecast_id else b.made_in end,
    case when s.is_new then $as_of::date else b.looked_from end,
    s.state
from states as s
left join forecast_sources as b on b.forecast_id = $base and b.vehicle_id = s.vehicle_id
