-- What is known of the growth of every life over the first far_km of it, the same distance for all lives of a kind: mean
-- and variance of the posterior, mm/km. Components are those of the table posteriors.
with far as (
    select kind, median(read_km) as far_km
    from trend_series
    where n_visits >= 2
    group by kind
    having median(read_km) > 0
),

placed as (
    select
        s.life,
        far.far_km,
        p.weight,
        p.growth,
        p.var_growth,
        p.wander_mm2_per_km * abs(far.far_km + p.shift_km - p.from_km) as strayed_mm2,
        power(greatest((far.far_km + p.shift_km) / p.reference_km, 0), p.exponent)
            - power(greatest(p.shift_km / p.reference_km, 0), p.exponent)
            + (p.pace - 1)
            * (greatest(far.far_km + p.shift_km - p.onset_km, 0) - greatest(p.shift_km - p.onset_km, 0))
            / p.reference_km as g
    from trend_series as s
    join far on far.kind = s.kind
    join posteriors as p
        on p.fit_id = $fit_id
        and p.vehicle_id = s.vehicle_id
        and p.position_id = s.position_id
        and p.life_no = s.life_no
        and p.direction = s.direction
),

known as (
    select
        life,
        max(far_km) as far_km,
        sum(weight * growth * g) / sum(weight) / max(far_km) as growth,
        sum(weight * (g * g * (var_growth + growth * growth) + strayed_mm2)) / sum(weight) / pow(max(far_km), 2) as second
    from placed
    group by life
)

select
    s.life,
    s.vehicle_id,
    s.kind,
    s.direction,
    s.model,
    s.depot,
    s.duty,
    s.supplier,
    s.cohort,
    s.read_km,
    s.n_visits,
    known.far_km,
    known.growth as growth_mm_per_km,
    greatest(known.second - known.growth * known.growth, 0) as variance
from trend_series as s
left join known on known.life = s.life
order by s.life
