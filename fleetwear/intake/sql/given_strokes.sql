-- Sessions and strokes of the readings that are not alone at their place, or whose visit may have readings in the store.
-- A repeat without a session of its own begins the next one; a stroke without a number gets the next one in its series,
-- counting those already in the store. Any other reading without a number is the first.
create or replace temp table given_strokes as
with doubtful as (
    select c.n
    from taken as c
    left join crowded on crowded.place = c.place
    where $every_row or crowded.place is not null or c.visit_id is not null
),
placed as (
    select
        c.n,
        coalesce(c.visit_id, $first_visit_id + fresh.place) as visit_id,
        c.position_id,
        concat_ws('|', c.direction, c.timing, c.method) as way,
        c.session,
        c.stroke
    from taken as c
    semi join doubtful on doubtful.n = c.n
    left join new_visits as fresh
        on fresh.vehicle_id = c.vehicle_id and fresh.visit_date = c.visit_date
        and fresh.visit_odometer_km is not distinct from c.visit_odometer_km
),
stored as (
    select
        placed.visit_id, r.position_id, concat_ws('|', r.direction, r.timing, r.method) as way, r.session, r.stroke
    from readings as r
    left join standing_rows as moved on moved.table_name = 'visits' and moved.row_id = r.visit_id
    inner join (select distinct visit_id from placed) as placed
        on placed.visit_id = coalesce(moved.standing_id, r.visit_id)
),
repeats as (
    select
        p.n,
        coalesce(s.last_session, 0) + row_number() over (
            partition by p.visit_id, p.position_id, p.way, p.stroke order by p.n
        ) as session
    from placed as p
    left join (
        select visit_id, position_id, way, stroke, max(session) as last_session
        from stored
        group by visit_id, position_id, way, stroke
    ) as s
        on s.visit_id = p.visit_id and s.position_id = p.position_id and s.way = p.way and s.stroke = p.stroke
    where p.session is null and p.stroke is not null
),
in_sessions as (
    select p.* exclude (session), coalesce(p.session, repeats.session, 1) as session
    from placed as p
    left join repeats on repeats.n = p.n
),
last_strokes as (
    select visit_id, position_id, way, session, max(stroke) as last_stroke
    from (
        select visit_id, position_id, way, session, stroke from stored
        union all
        select visit_id, position_id, way, session, stroke from in_sessions where stroke is not null
    ) as given
    group by visit_id, position_id, way, session
),
numbered as (
    select
        p.n,
        coalesce(s.last_stroke, 0) + row_number() over (
            partition by p.visit_id, p.position_id, p.way, p.session order by p.n
        ) as stroke
    from in_sessions as p
    left join last_strokes as s
        on s.visit_id = p.visit_id and s.position_id = p.position_id and s.way = p.way and s.session = p.session
    where p.stroke is null
)
select p.n, p.session, coalesce(p.stroke, numbered.stroke) as stroke
from in_sessions as p
left join numbered on numbered.n = p.n
