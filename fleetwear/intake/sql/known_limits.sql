select keyed.n, t.limit_id as row_id
from keyed
inner join limits as t on t.row_key = keyed.row_key
