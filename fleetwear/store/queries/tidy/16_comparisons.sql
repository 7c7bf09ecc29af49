select
    e.row_no as comparison_number,
    e.kind,
    e.factor,
    e.level,
    nullif(e.reference, '') as reference,
    e.n_lives as lives,
    e.n_vehicles as vehicles,
    e.n_readings as readings,
    e.ratio,
    e.lower as ratio_lower,
    e.upper as ratio_upper,
    e.simultaneous_lower as ratio_lower_all_at_once,
    e.simultaneous_upper as ratio_upper_all_at_once,
    e.p_value,
    e.p_holm,
    nullif(e.note, '') as note,
    e.says,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from main.fit_effects as e
join tidy.about as a on a.fit_number = e.fit_id
