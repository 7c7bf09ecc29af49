select keyed.n, t.odometer_id as row_id
from keyed
inner join odometer as t on t.row_key = keyed.row_key
