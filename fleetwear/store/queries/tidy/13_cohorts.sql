select
    c.model_group,
    c.shape,
    c.cohort,
    nullif(c.parent, '') as parent,
    c.n_lives as lives,
    c.stands_alone,
    c.intercept as intercept_mm,
    c.intercept_se as intercept_mm_se,
    c.growth as growth_mm,
    c.growth_se as growth_mm_se,
    m.reference_km as growth_over_km,
    m.exponent,
    m.pace,
    w.weight as weight_of_shape,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from main.fit_cohorts as c
join tidy.about as a on a.fit_number = c.fit_id
join main.fit_models as m on m.fit_id = c.fit_id and m.model_group = c.model_group and m.shape = c.shape
left join main.fit_weights as w
    on w.fit_id = c.fit_id and w.model_group = c.model_group and w.cohort = c.cohort and w.shape = c.shape
