-- One row is one reading that the model takes: a visit's mean play, or half of what the eye would have seen for
-- "none seen", with a larger error variance. "Seen, not measured" has no number and is left out.
create or replace temp table fit_input_readings as
select
    s.series,
    s.kind,
    s.direction,
    r.life_distance_km as distance_km,
    case r.result when 'measured' then r.play_mm else $none_seen_mm / 2 end as play_mm,
    case r.result when 'measured' then 1.0 else $none_seen_variance_ratio end as variance_ratio,
    r.result = 'measured' as is_measured,
    r.visit_date,
    r.timing
from known_series_visits as r
join fit_input_series as s
    on s.vehicle_id = r.vehicle_id
    and s.position_id = r.position_id
    and s.life_no = r.life_no
    and s.direction = r.direction
where r.result in ('measured', 'none seen')
