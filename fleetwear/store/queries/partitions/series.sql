select
    series,
    vehicle_id,
    unit,
    joint,
    direction,
    kind,
    cohort,
    origin,
    earlier_km_at_most,
    n_visits,
    last_date,
    last_result,
    last_play_mm,
    life_start_km,
    limit_mm,
    limit_source,
    indicative,
    next_service_date,
    service_km
from read_parquet($file)
order by series
