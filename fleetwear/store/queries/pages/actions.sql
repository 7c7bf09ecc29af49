-- The latest thing done about each joint's flag, and what has settled it since: a reading of a later day, or a
-- replacement or adjustment of that day or later.
with latest as (
    select a.*
    from actions as a
    join loads as l on l.load_id = a.load_id
    join forecasts as f
        on f.forecast_id = $forecast_id and (f.known_by is null or l.loaded_at <= f.known_by)
    qualify row_number() over (
        partition by a.vehicle_id, a.position_id
        order by a.action_date desc, a.action_id desc
    ) = 1
),

read_later as (
    select a.action_id, min(v.visit_date) as on_date
    from latest as a
    join readings as r on r.vehicle_id = a.vehicle_id and r.position_id = a.position_id
    join visits as v on v.visit_id = r.visit_id and v.visit_date > a.action_date
    anti join not_counting as s on s.table_name = 'visits' and s.row_id = v.visit_id
    group by a.action_id
),

worked_later as (
    select a.action_id, min(w.work_date) as on_date
    from latest as a
    join work as w
        on w.vehicle_id = a.vehicle_id and w.position_id = a.position_id and w.work_date >= a.action_date
    anti join not_counting as s on s.table_name = 'work' and s.row_id = w.work_id
    where w.work in ('replaced', 'adjusted')
    group by a.action_id
)

select
    a.action_id,
    a.vehicle_id,
    a.position_id,
    a.action,
    a.action_date,
    a.done_by as action_by,
    a.note as action_note,
    least(r.on_date, w.on_date) as settled_on
from latest as a
left join read_later as r on r.action_id = a.action_id
left join worked_later as w on w.action_id = a.action_id
order by a.vehicle_id, a.position_id
