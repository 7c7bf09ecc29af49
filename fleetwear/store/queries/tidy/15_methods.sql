select
    m.model_group,
    m.shape,
    m.method as way_of_reading,
    m.is_reference,
    m.n_readings as readings,
    m.offset_mm,
    m.offset_se as offset_mm_se,
    m.variance_ratio,
    m.threshold_mm,
    m.softness_mm,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from main.fit_methods as m
join tidy.about as a on a.fit_number = m.fit_id
