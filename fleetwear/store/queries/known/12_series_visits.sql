-- One row is what one visit showed of one series, before or after work: the mean of its strokes, and the largest of
-- them, since a limit is exceeded where any one stroke exceeds it. Readings in question, and readings found to be
-- mistakes, are left out here and shown where they matter.
create or replace temp table known_series_visits as
select
    r.vehicle_id,
    r.position_id,
    r.life_no,
    r.direction,
    r.visit_id,
    r.timing,
    r.visit_date,
    r.running_km,
    greatest(r.running_km - l.start_km, 0.0) as life_distance_km,
    case
        when count(*) filter (where r.result = 'measured') > 0 then 'measured'
        when count(*) filter (where r.result = 'seen, not measured') > 0 then 'seen, not measured'
        else 'none seen'
    end as result,
    avg(r.play_mm) as play_mm,
    max(r.play_mm) as largest_mm,
    (count(*) filter (where r.result = 'measured'))::integer as strokes,
    arg_max(r.method, (coalesce(r.play_mm, -1.0), r.reading_id)) as method,
    arg_max(r.read_at, (coalesce(r.play_mm, -1.0), r.reading_id)) as read_at,
    arg_max(r.support, (coalesce(r.play_mm, -1.0), r.reading_id)) as support,
    arg_max(
        coalesce(r.method, 'method not recorded') || coalesce(', read at the ' || r.read_at, ''),
        (coalesce(r.play_mm, -1.0), r.reading_id)
    ) as way,
    case when count(*) filter (where r.result = 'measured') = 1 then max(r.resolution_mm) end as resolution_mm
from known_readings as r
join known_lives as l
    on l.vehicle_id = r.vehicle_id and l.position_id = r.position_id and l.life_no = r.life_no
where r.question_state in ('', 'true reading') and r.running_km is not null
group by
    r.vehicle_id, r.position_id, r.life_no, r.direction, r.visit_id, r.timing, r.visit_date, r.running_km, l.start_km
