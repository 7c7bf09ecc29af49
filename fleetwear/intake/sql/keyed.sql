-- Each good row with its key.
create or replace temp view keyed as
select n, source_row, settles, row_key
from checked
where len(reasons) = 0
