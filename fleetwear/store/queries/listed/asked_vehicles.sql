-- The vehicles that are asked for, whatever is said of them.
select v.vehicle_id, v.unit, v.next_service_date_50, v.outcome_rank, v.place
from judged_vehicles as v
where ($depot is null or v.depot = $depot)
    and ($last_day is null or v.next_service_date_50 <= $last_day::date)
    and ($unit is null or v.unit = $unit)
order by v.place
