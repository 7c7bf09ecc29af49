-- Every stroke with the life that it belongs to. A reading of the day on which work was done belongs to the
-- life that ended, unless it was taken after the work.
create or replace temp table known_readings as
with asked as (
    select
        q.reading_id,
        q.question_id,
        q.question,
        case
            when a.question_id is null or (m.known_by is not null and a.answered_at > m.known_by) then 'open'
            else a.answer
        end as state
    from questions as q
    join known_loads on known_loads.load_id = q.load_id
    cross join known_moment as m
    left join answers as a on a.question_id = q.question_id
),

placed as (
    select
        r.* replace (
            coalesce(same.same_as, r.visit_id) as visit_id,
            coalesce(swapped.opposite_id, r.position_id) as position_id
        )
    from readings as r
    left join known_same_visits as same on same.visit_id = r.visit_id
    left join known_swapped_sides as swapped on swapped.load_id = r.load_id and swapped.position_id = r.position_id
),

works as (
    select vehicle_id, position_id, work_date
    from known_work
    where work in ('replaced', 'adjusted')
)

select
    r.reading_id,
    v.visit_id,
    r.vehicle_id,
    r.position_id,
    r.direction,
    (1 + (
        select count(*)
        from works as w
        where w.vehicle_id = r.vehicle_id
            and w.position_id = r.position_id
            and (w.work_date < v.visit_date or (w.work_date = v.visit_date and r.timing = 'after work'))
    ))::integer as life_no,
    v.visit_date,
    v.running_km,
    v.odometer_km,
    r.timing,
    r.session,
    r.stroke,
    r.method,
    r.support,
    r.read_at,
    r.indicator,
    r.instrument,
    r.result,
    r.play_mm,
    r.play_written,
    r.play_unit,
    r.resolution_mm,
    coalesce(asked.state, '') as question_state,
    coalesce(asked.question, '') as question
from placed as r
join known_loads on known_loads.load_id = r.load_id
left join known_visit_versions as moved on moved.visit_id = r.visit_id
join known_visits as v
    on v.visit_id = case when moved.visit_id is null then r.visit_id else moved.standing_id end
left join asked on asked.reading_id = r.reading_id
anti join known_set_aside as a on a.table_name = 'readings' and a.row_id = r.reading_id
-- Sums over strokes and visits are added in this order, so that the same readings give the same figures.
order by r.reading_id
