select keyed.n, t.service_id as row_id
from keyed
inner join services as t on t.row_key = keyed.row_key
