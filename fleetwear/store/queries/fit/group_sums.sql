-- The sufficient statistics of each life for the straight shape: one GROUP BY, one row a life.
with growth as (
    select
        l.life,
        1.0 / r.variance_ratio as w,
        ln(r.variance_ratio) as log_v,
        r.play_mm as y,
        r.distance_km / $reference_km as g
    from fit_group_lives as l
    join fit_input_readings as r on r.series = l.series
)

select
    life,
    count(*)::double as n,
    sum(w) as w,
    sum(w * g) as wg,
    sum(w * g * g) as wgg,
    sum(w * y) as wy,
    sum(w * g * y) as wgy,
    sum(w * y * y) as wyy,
    sum(log_v) as log_v
from growth
group by life
order by life
