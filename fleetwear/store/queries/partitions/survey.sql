-- What a partition holds of each cohort: readings that a fit takes (measured, of lives of known origin), those that it
-- does not, and those that nothing can be made of.
select
    kind,
    cohort,
    count(*) filter (seen = 0 and origin <> 'unknown') as readings,
    coalesce(sum(distance_km) filter (seen = 0 and origin <> 'unknown'), 0.0) as distance_km,
    count(*) filter (seen <> 0) as not_measured,
    count(*) filter (seen = 0 and origin = 'unknown') as of_unknown_origin,
    count(*) filter (
        series is null
        or kind is null
        or cohort is null
        or not coalesce(isfinite(distance_km) and distance_km >= 0.0, false)
        or not coalesce(isfinite(play_mm), false)
        or not coalesce(isfinite(variance_ratio) and variance_ratio > 0.0, false)
    ) as unusable
from read_parquet($file)
group by kind, cohort
order by kind, cohort
