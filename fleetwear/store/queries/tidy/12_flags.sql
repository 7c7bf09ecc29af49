-- What the forecast says of every vehicle, with the joint that leads. outcome_ranks (outcome, rank) stands in known.
select
    v.unit,
    v.depot,
    v.model,
    o.rank + 1 as urgency,
    w.outcome,
    w.reason,
    p.joint,
    w.direction as load_direction,
    j.p_over_next as probability_over_at_next_service,
    j.accepted_risk,
    w.p_any_over_next as probability_any_joint_over_at_next_service,
    w.joints_in_probability,
    w.overdue as service_overdue,
    w.next_service_date_05,
    w.next_service_date_50,
    w.next_service_date_95,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from main.forecast_vehicles as w
join tidy.about as a on a.forecast_number = w.forecast_id
join known.known_vehicles as v on v.vehicle_id = w.vehicle_id
join known.outcome_ranks as o on o.outcome = w.outcome
left join main.positions as p on p.position_id = w.position_id
left join main.forecast_joints as j
    on j.forecast_id = w.forecast_id
    and j.vehicle_id = w.vehicle_id
    and j.position_id = w.position_id
    and j.direction = w.direction
