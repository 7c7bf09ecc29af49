-- The limits that current series of some vehicles can have; needs forecast_limits.
select l.* exclude (vehicle_id)
from forecast_limits as l
where l.vehicle_id in (select unnest($vehicles))
order by l.series, l.rank
