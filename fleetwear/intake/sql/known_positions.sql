select keyed.n, t.position_id as row_id
from keyed
inner join positions as t on t.row_key = keyed.row_key
