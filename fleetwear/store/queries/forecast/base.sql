-- Forecasts from which another may take over, the latest first: of the same version and knowledge, and from fits that go by
-- the same populations.
select f.forecast_id, f.settings
from forecasts as f
join fit_bases as b on b.fit_id = f.fit_id
join fit_bases as own on own.fit_id = $fit_id and own.learnt_in = b.learnt_in
where f.as_of <= $as_of
    and f.known_by is not distinct from $known_by::timestamp
    and f.version = $version
order by f.forecast_id desc
