-- What the outcome of each joint and load direction hangs on, and how its vehicle's joints compare, of some vehicles.
select
    j.vehicle_id,
    j.position_id,
    j.direction,
    p.kind,
    coalesce(j.tested_at_last_visit, true) as tested,
    j.p_over_next,
    j.share_of_limit,
    j.accepted_risk,
    j.last_largest_mm,
    j.limit_mm,
    j.judged_limit_mm,
    j.symptom,
    j.question,
    j.last_z,
    j.fell_on,
    j.last_result,
    j.n_visits,
    j.play_next_mm
from forecast_joints as j
join positions as p on p.position_id = j.position_id
where j.forecast_id = $forecast_id and j.vehicle_id between $first and $last
order by j.vehicle_id, j.position_id, j.direction
