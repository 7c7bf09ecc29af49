-- What each visit showed of each series of one partition's vehicles, as the fit takes it in.
select
    r.series,
    s.vehicle_id,
    r.kind,
    r.direction,
    s.cohort,
    s.origin,
    r.distance_km,
    r.play_mm,
    r.seen,
    r.variance_ratio,
    r.way,
    r.resolution_mm,
    r.visit_date,
    r.timing
from fit_input_readings as r
join fit_input_series as s on s.series = r.series
join partition_vehicles as p on p.vehicle_id = s.vehicle_id
where p.partition = $partition
order by r.series, r.distance_km, r.timing desc, r.visit_id
