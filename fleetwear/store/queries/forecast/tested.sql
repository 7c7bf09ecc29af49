-- What was tested on the day of each vehicle's last visit: one row a joint and load direction, and one without a joint
-- for a visit that tested none. Readings found to be mistakes tested nothing. Needs the tables of known/.
create or replace temp table forecast_tested as
with last_day as (
    select vehicle_id, max(visit_date) as visit_date
    from known_visits
    group by vehicle_id
)

select distinct d.vehicle_id, d.visit_date, r.position_id, r.direction
from last_day as d
left join known_readings as r
    on r.vehicle_id = d.vehicle_id and r.visit_date = d.visit_date and r.question_state <> 'mistake'
order by d.vehicle_id, r.position_id, r.direction
