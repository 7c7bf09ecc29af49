-- A page of the vehicles that are asked for.
select v.vehicle_id
from asked_vehicles as v
where $ranks is null or list_contains($ranks::bigint[], v.outcome_rank)
order by v.place
limit $rows offset $first
