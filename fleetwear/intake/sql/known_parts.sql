select keyed.n, t.part_id as row_id
from keyed
inner join parts as t on t.row_key = keyed.row_key
