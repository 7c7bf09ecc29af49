-- The facts of some vehicles, with what the fit says of each series; needs forecast_facts and forecast_series.
select f.*, s.whose_line, s.model_group, s.effect, s.reliability, s.last_expected_mm, s.last_z,
    s.fell_after, s.fell_on, s.fell_from_mm, s.fell_to_mm, s.doubt
from forecast_facts as f
left join forecast_series as s on s.series = f.series
where f.vehicle_id in (select unnest($vehicles))
order by f.series
