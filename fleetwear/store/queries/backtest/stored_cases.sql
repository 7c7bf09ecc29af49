-- The cases of a backtest in the words that people use for a joint.
select
    c.as_of,
    v.unit,
    p.joint,
    c.direction,
    c.kind,
    c.life_no,
    c.last_date,
    c.last_mm,
    c.limit_mm,
    c.next_date,
    c.ahead_km,
    c.p_over,
    c.mean_mm,
    c.sd_mm,
    c.q025_mm,
    c.q10_mm,
    c.q50_mm,
    c.q90_mm,
    c.q975_mm,
    c.observed_mm,
    c.event,
    c.crps_mm,
    c.accepted_risk,
    c.share_of_limit,
    c.line_mm
from backtest_cases as c
join positions as p on p.position_id = c.position_id
join (select vehicle_id, arg_max(unit, vehicle_row_id) as unit from vehicles group by vehicle_id) as v
    on v.vehicle_id = c.vehicle_id
where c.backtest_id = $backtest_id
order by c.as_of, v.unit, c.position_id, c.life_no, c.direction
