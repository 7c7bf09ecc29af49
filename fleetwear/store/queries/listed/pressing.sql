-- The joints that press of the vehicles asked for, each in its worst load direction, the most pressing first, and how
-- many they are in all.
with worst as (
    select j.vehicle_id, j.position_id, j.direction, j.outcome_rank, j.p_over_next, v.next_service_date_50, v.unit
    from judged_joints as j
    join asked_vehicles as v on v.vehicle_id = j.vehicle_id
    where list_contains($pressing::bigint[], j.outcome_rank)
        and (
            $ranks is null
            or (list_contains($ranks::bigint[], j.outcome_rank) and list_contains($ranks::bigint[], v.outcome_rank))
        )
    qualify row_number() over (
        partition by j.vehicle_id, j.position_id
        order by j.outcome_rank, coalesce(j.p_over_next, -1.0) desc, j.direction
    ) = 1
)

select
    w.vehicle_id,
    w.position_id,
    w.direction,
    row_number() over (
        order by w.outcome_rank, w.next_service_date_50 nulls last, w.unit, coalesce(w.p_over_next, -1.0) desc,
            w.position_id
    ) - 1 as place,
    count(*) over () as total
from worst as w
order by place
limit $drawn
