-- One row is what one visit showed of one series, before or after work, as the model takes it: the mean play of its
-- strokes, that none was seen (seen = -1), or that it was seen and not measured (1). way says how it was taken. A
-- mean of several strokes has no resolution of its own. Readings that a person agreed are off count for less.
create or replace temp table fit_input_readings as
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
    r.visit_id,
    r.visit_date,
    r.timing
from known_series_visits as r
join fit_input_series as s
    on s.vehicle_id = r.vehicle_id
    and s.position_id = r.position_id
    and s.life_no = r.life_no
    and s.direction = r.direction
left join known_agreed_readings as a
    on a.vehicle_id = r.vehicle_id
    and a.position_id = r.position_id
    and a.life_no = r.life_no
    and a.direction = r.direction
    and a.visit_id = r.visit_id
    and a.timing = r.timing
