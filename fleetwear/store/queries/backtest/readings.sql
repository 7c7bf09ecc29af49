-- What a forecast is held against: what each visit measured of each series before any work on it.
select
    vehicle_id,
    position_id,
    life_no,
    direction,
    visit_id,
    visit_date,
    life_distance_km,
    play_mm,
    way
from known_series_visits
where result = 'measured' and timing = 'before work'
order by vehicle_id, position_id, life_no, direction, visit_date, visit_id
