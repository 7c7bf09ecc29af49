-- The last visit's reading of each joint of a vehicle in each load direction, since the joint was last replaced or
-- adjusted: the mean of its strokes where any was measured, and how it was read. Readings found to be mistakes, and
-- those asked about, are left out.
with renewed as (
    select w.position_id, max(w.work_date) as work_date
    from work as w
    anti join not_counting as a on a.table_name = 'work' and a.row_id = w.work_id
    where w.vehicle_id = $vehicle_id and w.work in ('replaced', 'adjusted') and w.work_date <= $on_date
    group by w.position_id
),

own as (
    select
        r.*,
        v.visit_date
    from readings as r
    join visits as v on v.visit_id = r.visit_id
    left join renewed as n on n.position_id = r.position_id
    left join questions as q on q.reading_id = r.reading_id
    left join answers as s on s.question_id = q.question_id
    anti join not_counting as a on a.table_name = 'readings' and a.row_id = r.reading_id
    where r.vehicle_id = $vehicle_id
        and v.visit_date <= $on_date
        and (q.question_id is null or s.answer = 'true reading')
        and (
            n.work_date is null
            or v.visit_date > n.work_date
            or (v.visit_date = n.work_date and r.timing = 'after work')
        )
),

visited as (
    select
        o.position_id,
        o.direction,
        o.visit_id,
        o.visit_date,
        o.timing,
        avg(o.play_mm) as play_mm,
        case
            when count(o.play_mm) > 0 then 'measured'
            when count(*) filter (where o.result = 'seen, not measured') > 0 then 'seen, not measured'
            else 'none seen'
        end as result,
        arg_max(o.method, o.reading_id) as method,
        arg_max(o.support, o.reading_id) as support,
        arg_max(o.read_at, o.reading_id) as read_at,
        arg_max(o.indicator, o.reading_id) as indicator
    from own as o
    group by o.position_id, o.direction, o.visit_id, o.visit_date, o.timing
)

select position_id, direction, visit_date, play_mm, result, method, support, read_at, indicator
from visited
qualify row_number() over (
    partition by position_id, direction
    order by visit_date desc, timing, visit_id desc
) = 1
order by position_id, direction
