-- The mean play of a cohort's lives over 25 distances, and the sums that its intervals are made from: one row a cohort
-- and distance. The distances end where a quarter of the cohort's lives had been read that far. Of a cohort with very
-- many lives an even sample is taken.
with chosen as (
    select life, vehicle_id, position_id, life_no, direction, kind, model, duty, cohort, read_km
    from trend_series
    where n_visits >= 2
    qualify row_number() over (partition by cohort order by hash(life), life) <= $most
),

grid as (
    select cohort, quantile_cont(read_km, 0.75) * steps.step / 24.0 as distance_km
    from chosen
    cross join range(0, 25) as steps (step)
    group by cohort, steps.step
    having quantile_cont(read_km, 0.75) > 0
),

placed as (
    select
        c.cohort,
        c.life,
        c.vehicle_id,
        grid.distance_km,
        p.weight,
        p.intercept,
        p.growth,
        p.var_intercept,
        p.cov_cross,
        p.var_growth,
        p.wander_mm2_per_km * abs(grid.distance_km + p.shift_km - p.from_km) as strayed_mm2,
        power(greatest((grid.distance_km + p.shift_km) / p.reference_km, 0), p.exponent)
            + (p.pace - 1) * greatest(grid.distance_km + p.shift_km - p.onset_km, 0) / p.reference_km as g
    from chosen as c
    join grid on grid.cohort = c.cohort
    join posteriors as p
        on p.fit_id = $fit_id
        and p.vehicle_id = c.vehicle_id
        and p.position_id = c.position_id
        and p.life_no = c.life_no
        and p.direction = c.direction
),

known as (
    select
        cohort,
        distance_km,
        vehicle_id,
        life,
        sum(weight * (intercept + g * growth)) / sum(weight) as mean,
        sum(
            weight
            * (var_intercept + g * (2 * cov_cross + g * var_growth) + strayed_mm2 + pow(intercept + g * growth, 2))
        ) / sum(weight) as second
    from placed
    group by cohort, distance_km, vehicle_id, life
),

by_vehicle as (
    select
        cohort,
        distance_km,
        vehicle_id,
        count(*) as n,
        sum(mean) as total,
        sum(mean * mean) as squares,
        sum(greatest(second - mean * mean, 0)) as variances,
        sum(sqrt(greatest(second - mean * mean, 0))) as deviations
    from known
    group by cohort, distance_km, vehicle_id
)

select
    v.cohort,
    any_value(c.kind) as kind,
    any_value(c.direction) as direction,
    any_value(c.model) as model,
    any_value(c.duty) as duty,
    v.distance_km,
    sum(v.n) as n,
    count(*) as n_clusters,
    sum(v.total) as total,
    sum(v.squares) as squares,
    sum(v.variances) as variances,
    sum(pow(v.total, 2)) as total_squares,
    sum(v.total * v.n) as total_counts,
    sum(pow(v.n, 2)) as count_squares,
    sum(pow(v.deviations, 2)) as deviation_squares
from by_vehicle as v
join (select distinct cohort, kind, direction, model, duty from chosen) as c on c.cohort = v.cohort
group by v.cohort, v.distance_km
order by v.cohort, v.distance_km
