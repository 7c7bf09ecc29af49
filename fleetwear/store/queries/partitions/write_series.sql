-- The current series of one partition's vehicles, with what a forecast needs of each; partition_series is registered.
select
    f.series,
    f.vehicle_id,
    f.unit,
    f.position_id,
    f.joint,
    f.direction,
    f.life_no,
    f.kind,
    f.cohort,
    f.origin,
    s.earlier_km_at_most,
    f.n_visits,
    f.last_date,
    f.last_result,
    f.last_play_mm,
    f.life_start_km,
    l.limit_mm,
    l.limit_source,
    l.indicative,
    l.next_service_date,
    l.service_km
from forecast_facts as f
join fit_input_series as s on s.series = f.series
join partition_series as l on l.series = f.series
join partition_vehicles as p on p.vehicle_id = f.vehicle_id
where p.partition = $partition
order by f.vehicle_id, f.series
