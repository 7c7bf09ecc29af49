select keyed.n, t.stock_id as row_id
from keyed
inner join stock as t on t.row_key = keyed.row_key
