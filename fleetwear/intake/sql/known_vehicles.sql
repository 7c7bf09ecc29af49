select keyed.n, t.vehicle_row_id as row_id
from keyed
inner join vehicles as t on t.row_key = keyed.row_key
