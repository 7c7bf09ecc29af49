select keyed.n, t.wheel_limit_id as row_id
from keyed
inner join wheel_limits as t on t.row_key = keyed.row_key
