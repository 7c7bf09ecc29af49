-- The sufficient statistics of each life of a partition at a growth exponent, and the place of its cohort.
with growth as (
    select
        series,
        list_position($cohorts, cohort) - 1 as cohort,
        1.0 / variance_ratio as w,
        ln(variance_ratio) as log_v,
        play_mm as y,
        case when $exponent = 1.0 then distance_km / $reference_km else pow(distance_km / $reference_km, $exponent) end
            as g
    from read_parquet($file)
    where kind = $kind and seen = 0 and origin <> 'unknown'
)

select
    any_value(cohort) as cohort,
    count(*)::double as n,
    sum(w) as w,
    sum(w * g) as wg,
    sum(w * g * g) as wgg,
    sum(w * y) as wy,
    sum(w * g * y) as wgy,
    sum(w * y * y) as wyy,
    sum(log_v) as log_v
from growth
group by series
order by any_value(cohort), series
