-- The vehicles in order at another accepted risk: what is said of each is that of its most pressing joint, but for a
-- wheel over its limit and for a confirmed symptom that names no joint.
with worst as (
    select j.vehicle_id, j.position_id, j.direction, j.outcome_rank
    from judged_joints as j
    qualify row_number() over (
        partition by j.vehicle_id
        order by j.outcome_rank, coalesce(j.p_over_next, -1.0) desc, coalesce(j.share_of_limit, -1.0) desc,
            j.position_id, j.direction
    ) = 1
),

judged as (
    select
        v.vehicle_id,
        v.unit,
        v.depot,
        v.next_service_date_50,
        case
            when v.wheel_over then $over
            when v.symptom <> '' and coalesce(w.outcome_rank, $not_tested) > $symptom then $symptom
            else coalesce(w.outcome_rank, $not_tested)
        end as outcome_rank
    from listed_vehicles as v
    left join worst as w on w.vehicle_id = v.vehicle_id
)

select
    j.*, row_number() over (order by j.outcome_rank, j.next_service_date_50 nulls last, j.unit) - 1 as place
from judged as j
order by place
