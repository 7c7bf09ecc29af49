select keyed.n, t.work_id as row_id
from keyed
inner join work as t on t.row_key = keyed.row_key
