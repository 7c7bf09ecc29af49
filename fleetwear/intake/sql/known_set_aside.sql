-- Rows known to the store but set aside there: loading them once more corrects nothing.
select known.n
from known
inner join set_aside as aside on aside.table_name = $table_name and aside.row_id = known.row_id
