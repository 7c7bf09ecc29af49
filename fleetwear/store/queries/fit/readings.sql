-- One row is what one visit showed of one series, before or after work, as the model takes it: the mean play of its
-- strokes, that none was seen (seen = -1), or that it was seen and not measured (1). way says how it was taken. A
-- mean of several strokes has no resolution of its own. Readings that a person agreed are off count for less.
-- setup_share is what is left of the setup's variance in the mean of setups (1 of one), squares and degrees the scatter
-- of strokes about the means of their setups.
create or replace temp table fit_input_readings as
with setups as (
    select
        vehicle_id,
        position_id,
        life_no,
        direction,
        visit_id,
        timing,
        session,
        count(*) as strokes,
        coalesce(var_pop(play_mm), 0.0) * count(*) as squares
    from known_readings
    where result = 'measured' and question_state in ('', 'true reading')
    group by vehicle_id, position_id, life_no, direction, visit_id, timing, session
),

repeated as (
    select
        vehicle_id,
        position_id,
        life_no,
        direction,
        visit_id,
        timing,
        sum(strokes * strokes) / (sum(strokes) * sum(strokes)) as setup_share,
        sum(squares) as squares,
        sum(strokes - 1) as degrees
    from setups
    group by vehicle_id, position_id, life_no, direction, visit_id, timing
),

people as (
    select
        k.vehicle_id,
        k.position_id,
        k.life_no,
        k.direction,
        k.visit_id,
        k.timing,
        arg_max(r.technician, r.reading_id) filter (where r.technician is not null) as technician
    from known_readings as k
    join readings as r on r.reading_id = k.reading_id
    where k.result = 'measured' and k.question_state in ('', 'true reading')
    group by k.vehicle_id, k.position_id, k.life_no, k.direction, k.visit_id, k.timing
)

select
    s.series,
    s.kind,
    s.direction,
    r.life_distance_km as distance_km,
    coalesce(r.play_mm, 0.0) as play_mm,
    case r.result when 'measured' then 0 when 'none seen' then -1 else 1 end::tinyint as seen,
    r.result = 'measured' as is_measured,
    r.way,
    coalesce(r.resolution_mm, 0.0) as resolution_mm,
    coalesce(a.variance_ratio, 1.0) as variance_ratio,
    coalesce(v.shop, '') as shop,
    coalesce(p.technician, v.technician, '') as technician,
    greatest(r.strokes, 1)::double as strokes,
    coalesce(q.setup_share, 1.0)::double as setup_share,
    coalesce(q.squares, 0.0)::double as squares,
    coalesce(q.degrees, 0)::double as degrees,
    r.visit_id,
    r.visit_date,
    r.timing
from known_series_visits as r
join fit_input_series as s
    on s.vehicle_id = r.vehicle_id
    and s.position_id = r.position_id
    and s.life_no = r.life_no
    and s.direction = r.direction
join known_visits as v on v.visit_id = r.visit_id
left join repeated as q
    on q.vehicle_id = r.vehicle_id
    and q.position_id = r.position_id
    and q.life_no = r.life_no
    and q.direction = r.direction
    and q.visit_id = r.visit_id
    and q.timing = r.timing
left join people as p
    on p.vehicle_id = r.vehicle_id
    and p.position_id = r.position_id
    and p.life_no = r.life_no
    and p.direction = r.direction
    and p.visit_id = r.visit_id
    and p.timing = r.timing
left join known_agreed_readings as a
    on a.vehicle_id = r.vehicle_id
    and a.position_id = r.position_id
    and a.life_no = r.life_no
    and a.direction = r.direction
    and a.visit_id = r.visit_id
    and a.timing = r.timing
-- As in known_readings: sums are added in this order.
order by s.series, r.life_distance_km, r.timing desc, r.visit_id
