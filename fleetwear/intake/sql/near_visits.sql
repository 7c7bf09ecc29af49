-- Visits of this load that may be one with another visit: of one vehicle, on the same or the next day, and at most
-- 5 km apart. Each is asked about with the nearest of those that were loaded before it.
select
    d.visit_id,
    arg_min(e.visit_id, (abs(e.odometer_km - d.odometer_km), e.visit_id)) as other_visit_id,
    any_value(v.unit) as unit,
    any_value(d.visit_date) as visit_date,
    any_value(d.odometer_km) as odometer_km,
    arg_min(e.visit_date, (abs(e.odometer_km - d.odometer_km), e.visit_id)) as other_date,
    arg_min(e.odometer_km, (abs(e.odometer_km - d.odometer_km), e.visit_id)) as other_km
from visits as d
inner join visits as e
    on e.vehicle_id = d.vehicle_id and e.visit_id < d.visit_id
    and e.visit_date between d.visit_date - 1 and d.visit_date + 1
    and abs(e.odometer_km - d.odometer_km) <= 5
inner join (select vehicle_id, arg_max(unit, (valid_from, vehicle_row_id)) as unit from vehicles group by vehicle_id) as v
    on v.vehicle_id = d.vehicle_id
anti join set_aside as aside on aside.table_name = 'visits' and aside.row_id = d.visit_id
anti join set_aside as other_aside on other_aside.table_name = 'visits' and other_aside.row_id = e.visit_id
where d.load_id = $load_id
group by d.visit_id
order by d.visit_id
