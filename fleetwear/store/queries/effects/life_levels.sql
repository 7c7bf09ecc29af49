select life, vehicle_id, kind, direction, depot, duty, side, supplier, model
from effect_lives
order by life
