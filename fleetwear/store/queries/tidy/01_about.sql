-- The forecast that the other views of this folder are as of: the latest of the snapshot. Needs the tables of known/.
select
    f.forecast_id as forecast_number,
    f.fit_id as fit_number,
    f.as_of,
    f.known_by,
    f.made_at as forecast_made_at,
    f.version as program_version,
    i.made_at as fit_made_at,
    i.version as fit_program_version,
    f.settings::varchar as forecast_settings,
    i.settings::varchar as fit_settings
from main.forecasts as f
join main.fits as i on i.fit_id = f.fit_id
where f.forecast_id = (select max(latest.forecast_id) from main.forecasts as latest)
