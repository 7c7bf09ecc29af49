select keyed.n, t.reading_id as row_id
from keyed
inner join reading_rows as t on t.row_key = keyed.row_key
