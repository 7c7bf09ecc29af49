-- What is to be tested at the next visit of the vehicles asked for: load directions that test their joint's kind, left
-- untested by the last visit or to be measured again.
select
    v.vehicle_id,
    v.unit,
    l.depot,
    v.next_service_date_50,
    p.joint,
    j.direction,
    f.n_visits,
    f.last_date,
    j.outcome_rank,
    dense_rank() over (order by v.place) as vehicle_number
from judged_joints as j
join asked_vehicles as v on v.vehicle_id = j.vehicle_id
join listed_vehicles as l on l.vehicle_id = j.vehicle_id
join positions as p on p.position_id = j.position_id
join forecast_joints as f
    on f.forecast_id = $forecast_id and f.vehicle_id = j.vehicle_id
    and f.position_id = j.position_id and f.direction = j.direction
where j.tests_kind
    and (not j.tested or list_contains($again::bigint[], j.outcome_rank))
    and (
        $ranks is null
        or (list_contains($ranks::bigint[], j.outcome_rank) and list_contains($ranks::bigint[], v.outcome_rank))
    )
order by v.place, j.outcome_rank, j.position_id, j.direction
