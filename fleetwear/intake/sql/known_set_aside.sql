-- Rows known to the store that do not count there: loading them once more corrects nothing.
select known.n
from known
inner join not_counting as aside on aside.table_name = $table_name and aside.row_id = known.row_id
