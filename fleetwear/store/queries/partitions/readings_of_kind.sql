-- The measured readings of a partition's series of one kind; partition_series_asked (series, place) is registered.
select a.place, r.distance_km, r.play_mm, r.variance_ratio
from read_parquet($file) as r
join partition_series_asked as a on a.series = r.series
where r.kind = $kind and r.seen = 0
order by a.place, r.distance_km, r.play_mm
