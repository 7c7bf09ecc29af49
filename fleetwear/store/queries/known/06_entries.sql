-- Every dated odometer value with the running distance: what the instrument shows, plus what swaps took off.
-- On the day of a swap a value belongs to the instrument whose last or first value it is nearer to.
create or replace temp table known_entries as
with raw as (
    select vehicle_id, visit_date as entry_date, odometer_km, load_id, 'visits' as table_name, visit_id as row_id
    from visits
    union all
    select vehicle_id, work_date, odometer_km, load_id, 'work', work_id
    from work
    union all
    select vehicle_id, done_date, done_odometer_km, load_id, 'services', service_id
    from services
    union all
    select vehicle_id, entry_date, odometer_km, load_id, 'odometer', odometer_id
    from odometer
    union all
    select vehicle_id, in_service_date, in_service_odometer_km, load_id, 'vehicles', vehicle_row_id
    from vehicles
)
select
    raw.table_name,
    raw.row_id,
    raw.vehicle_id,
    raw.entry_date,
    raw.odometer_km,
    raw.odometer_km + coalesce((
        select sum(s.shift_km)
        from known_swaps as s
        where s.vehicle_id = raw.vehicle_id
            and (
                s.entry_date < raw.entry_date
                or (
                    s.entry_date = raw.entry_date
                    and abs(raw.odometer_km - s.new_km) < abs(raw.odometer_km - s.old_km)
                )
            )
    ), 0) as running_km
from raw
join known_loads on known_loads.load_id = raw.load_id
join known_moment as m on raw.entry_date <= m.as_of
anti join known_set_aside as a on a.table_name = raw.table_name and a.row_id = raw.row_id
where raw.odometer_km is not null
