-- The state of what the fit knows each vehicle by: another whenever a series or a reading of it is. Distances to a metre,
-- so that the order in which a sum was taken makes no difference.
create or replace temp table fit_states as
select vehicle_id, sum(content)::varchar as state
from (
    select
        vehicle_id,
        hash(
            position_id, life_no, direction, kind, cohort, origin, is_current, round(earlier_km_at_most, 3)
        )::hugeint as content
    from fit_input_series
    union all
    select
        s.vehicle_id,
        hash(
            s.position_id, s.life_no, s.direction, round(r.distance_km, 3), round(r.play_mm, 6), r.seen, r.way,
            r.resolution_mm, r.variance_ratio, r.shop, r.technician, r.strokes, round(r.setup_share, 6), r.visit_id,
            r.visit_date, r.timing
        )::hugeint as content
    from fit_input_readings as r
    join fit_input_series as s on s.series = r.series
)
group by vehicle_id
