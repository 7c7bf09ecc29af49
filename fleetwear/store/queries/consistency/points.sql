-- One row is one day of one source (an instrument, a method, a shop): how far its readings lay from what the others of
-- their series say of them, in the mean by precision. A single reading counts with at most three standard deviations.
with strokes as (
    select
        visit_id,
        vehicle_id,
        position_id,
        direction,
        timing,
        arg_max(instrument, (coalesce(play_mm, -1.0), reading_id)) as instrument,
        arg_max(
            coalesce(method, 'method not recorded') || coalesce(', read at the ' || read_at, ''),
            (coalesce(play_mm, -1.0), reading_id)
        ) as method
    from readings
    where result = 'measured'
    group by visit_id, vehicle_id, position_id, direction, timing
),

named as (
    select
        v.visit_date,
        f.sd_mm,
        greatest(least(f.residual_mm, 3.0 * f.sd_mm), -3.0 * f.sd_mm) as residual_mm,
        s.instrument,
        s.method,
        v.shop
    from fit_residuals as f
    join strokes as s
        on s.visit_id = f.visit_id
        and s.vehicle_id = f.vehicle_id
        and s.position_id = f.position_id
        and s.direction = f.direction
        and s.timing = f.timing
    join visit_details as v on v.visit_id = f.visit_id
    where f.fit_id = $fit_id
),

long as (
    select 'instrument' as source, instrument as name, visit_date, residual_mm, sd_mm
    from named
    where instrument is not null
    union all
    select 'method' as source, method as name, visit_date, residual_mm, sd_mm
    from named
    union all
    select 'shop' as source, shop as name, visit_date, residual_mm, sd_mm
    from named
    where shop is not null
)

select
    source,
    name,
    visit_date,
    count(*)::integer as n_readings,
    sum(residual_mm / (sd_mm * sd_mm)) / sum(1.0 / (sd_mm * sd_mm)) as residual_mm,
    1.0 / sum(1.0 / (sd_mm * sd_mm)) as variance_mm2
from long
group by source, name, visit_date
order by source, name, visit_date
