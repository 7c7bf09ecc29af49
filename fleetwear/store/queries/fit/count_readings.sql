-- Readings count with what repeat visits say of their shop, technician and strokes (reading_factors is registered), on
-- top of what was agreed of them.
update fit_input_readings
set variance_ratio = fit_input_readings.variance_ratio * f.factor
from reading_factors as f
where f.series = fit_input_readings.series
    and f.visit_id = fit_input_readings.visit_id
    and f.timing = fit_input_readings.timing
