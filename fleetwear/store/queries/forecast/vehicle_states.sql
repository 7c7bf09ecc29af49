-- The state of all that is known of each vehicle and that its forecast rests on: its record, the limits of its model, those
-- of wheel checks, and what the fit knows of it (fitted_vehicles: vehicle_id, found_in). Needs the tables of known/.
create or replace temp table forecast_states as
with of_model as (
    select kv.vehicle_id, coalesce(sum(hash(li)::hugeint), 0) as content
    from known_vehicles as kv
    join known_limits as li on li.model is null or li.model = kv.model
    group by kv.vehicle_id
),

of_positions as (
    select kv.vehicle_id, sum(hash(p.position_id, p.joint, p.kind)::hugeint) as content
    from known_vehicles as kv
    join positions as p on p.model = kv.model
    group by kv.vehicle_id
),

of_wheels as (
    select coalesce(sum(hash(w)::hugeint), 0) as content
    from wheel_limits as w
    join known_loads on known_loads.load_id = w.load_id
)

select v.vehicle_id, (sum(t.content) + any_value(w.content))::varchar as state
from known_vehicles as v
join (
    select vehicle_id, hash('vehicle', unit, model, depot, duty, distance_source, play_unit, distance_unit)::hugeint
        as content
    from known_vehicles
    union all
    select vehicle_id, hash('swap', round(shift_km, 3))::hugeint from known_swaps
    union all
    select vehicle_id, hash('entry', entry_date, round(running_km, 3))::hugeint from known_entries
    union all
    select vehicle_id, hash('visit', visit_id, visit_date, complaint, symptom_confirmed, symptom_position_id)::hugeint
    from known_visits
    union all
    select vehicle_id, hash('work', position_id, work_date, work)::hugeint from known_work
    union all
    select vehicle_id, hash('life', position_id, life_no, start_date, round(start_km, 3), origin, is_current)::hugeint
    from known_lives
    union all
    select vehicle_id, hash('reading', reading_id, question_state, question)::hugeint from known_readings
    union all
    select
        vehicle_id,
        hash('seen', visit_id, position_id, direction, timing, result, round(play_mm, 6), largest_mm, method, read_at, support)
            ::hugeint
    from known_series_visits
    union all
    select
        vehicle_id,
        hash('service', done_date, round(running_km, 3), round(interval_km, 3), interval_months)::hugeint
    from known_services
    union all
    select vehicle_id, hash('wheel check', wheel_check_id)::hugeint from wheel_checks
    union all
    select vehicle_id, hash('found in', found_in)::hugeint from fitted_vehicles
    union all
    select vehicle_id, content from of_model
    union all
    select vehicle_id, content from of_positions
) as t on t.vehicle_id = v.vehicle_id
cross join of_wheels as w
group by v.vehicle_id
