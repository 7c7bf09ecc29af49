select min(visit_date) as first_day, max(visit_date) as last_day
from known_series_visits
where result = 'measured' and timing = 'before work'
