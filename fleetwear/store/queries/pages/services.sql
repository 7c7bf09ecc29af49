-- Services of a vehicle, newest first, with the odometer at which the next is due: the distance run then, less what
-- swaps of the instrument have taken off since. Needs the tables of known/.
select
    s.done_date,
    s.running_km,
    s.interval_km,
    s.interval_months,
    case when v.distance_source <> 'none' then s.running_km - t.taken_off_km end as odometer_km,
    case when v.distance_source <> 'none' then s.running_km + s.interval_km - t.taken_off_by_now_km end as due_odometer_km
from known_services as s
join known_vehicles as v on v.vehicle_id = s.vehicle_id
cross join lateral (
    select
        coalesce(sum(w.shift_km) filter (where w.entry_date <= s.done_date), 0.0) as taken_off_km,
        coalesce(sum(w.shift_km), 0.0) as taken_off_by_now_km
    from known_swaps as w
    where w.vehicle_id = s.vehicle_id
) as t
where s.vehicle_id = $vehicle_id
order by s.done_date desc
