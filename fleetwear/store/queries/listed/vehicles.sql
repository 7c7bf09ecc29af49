-- One row a vehicle: what a list of flags shows of it, the joint that leads with it, its latest open action and its place
-- among all, the most pressing first.
with acted as (
    select a.vehicle_id, a.action, a.action_date, p.joint as action_joint
    from said_actions as a
    join positions as p on p.position_id = a.position_id
    where a.settled_on is null
    qualify row_number() over (partition by a.vehicle_id order by a.action_date desc, a.position_id) = 1
),

over_wheels as (
    select distinct w.vehicle_id
    from forecast_wheels as w
    where w.forecast_id = $forecast_id and w.is_last and w.verdict = $over
),

ranked as (
    select
        v.*,
        list_position($outcomes::varchar[], v.outcome) - 1 as outcome_rank,
        p.joint,
        j.accepted_risk,
        j.p_over_next,
        j.indicative,
        a.action,
        a.action_date,
        a.action_joint,
        w.vehicle_id is not null as wheel_over
    from said_vehicles as v
    left join forecast_joints as j
        on j.forecast_id = v.forecast_id and j.vehicle_id = v.vehicle_id
        and j.position_id = v.position_id and j.direction = v.direction
    left join positions as p on p.position_id = j.position_id
    left join acted as a on a.vehicle_id = v.vehicle_id
    left join over_wheels as w on w.vehicle_id = v.vehicle_id
)

select
    r.* exclude (vin, plate, owner),
    row_number() over (order by r.outcome_rank, r.next_service_date_50 nulls last, r.unit) - 1 as place
from ranked as r
order by place
