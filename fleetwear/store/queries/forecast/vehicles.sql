-- Every vehicle with its last service, and how far its instrument lags behind the distance that it has run.
select
    v.vehicle_id,
    v.unit,
    v.depot,
    coalesce(v.duty, '') as duty,
    v.distance_source,
    coalesce(s.start_date, m.as_of) as start_date,
    s.start_km,
    coalesce(w.shift_km, 0.0) as shift_km,
    last.done_date as service_date,
    last.running_km as service_km,
    last.interval_km,
    last.interval_months,
    seen.last_visit
from known_vehicles as v
cross join known_moment as m
join known_starts as s on s.vehicle_id = v.vehicle_id
left join (
    select vehicle_id, sum(shift_km) as shift_km
    from known_swaps
    group by vehicle_id
) as w on w.vehicle_id = v.vehicle_id
left join (
    select *
    from known_services
    qualify row_number() over (partition by vehicle_id order by done_date desc, running_km desc) = 1
) as last on last.vehicle_id = v.vehicle_id
left join (
    select vehicle_id, max(visit_date) as last_visit
    from known_visits
    group by vehicle_id
) as seen on seen.vehicle_id = v.vehicle_id
order by v.vehicle_id
