-- The joints of a vehicle's model, with the day on which each was last replaced or adjusted.
select
    p.position_id,
    p.joint,
    p.kind,
    p.place,
    max(w.work_date) as last_work_date
from positions as p
left join (
    select work.position_id, work.work_date
    from work
    anti join not_counting as a on a.table_name = 'work' and a.row_id = work.work_id
    where work.vehicle_id = $vehicle_id and work.work in ('replaced', 'adjusted') and work.work_date <= $on_date
) as w on w.position_id = p.position_id
where p.model = $model
group by p.position_id, p.joint, p.kind, p.place
order by p.position_id
