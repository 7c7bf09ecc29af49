select keyed.n, t.wheel_check_id as row_id
from keyed
inner join wheel_checks as t on t.row_key = keyed.row_key
