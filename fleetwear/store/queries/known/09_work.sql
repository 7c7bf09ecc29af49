-- Work with the running distance: its own odometer, or else that of the nearest entry before or on that day.
create or replace temp table known_work as
with dated as (
    select w.work_id, w.vehicle_id, w.position_id, w.work_date, w.work, w.part_number, w.supplier, w.reason
    from work as w
    join known_loads using (load_id)
    join known_moment as m on w.work_date <= m.as_of
    anti join known_set_aside as a on a.table_name = 'work' and a.row_id = w.work_id
),

by_day as (
    select vehicle_id, entry_date, max(running_km) as running_km
    from known_entries
    group by vehicle_id, entry_date
)

select
    dated.*,
    case
        when s.distance_source = 'none'
            then greatest(date_diff('day', s.start_date, dated.work_date), 0) * m.assumed_km_per_day
        else coalesce(own.running_km, near.running_km, s.start_km)
    end as running_km
from dated
join known_starts as s on s.vehicle_id = dated.vehicle_id
cross join known_moment as m
left join known_entries as own on own.table_name = 'work' and own.row_id = dated.work_id
asof left join by_day as near on near.vehicle_id = dated.vehicle_id and near.entry_date <= dated.work_date
