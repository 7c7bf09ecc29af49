select keyed.n, t.action_id as row_id
from keyed
inner join actions as t on t.row_key = keyed.row_key
