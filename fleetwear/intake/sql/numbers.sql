-- The places of the rows taken in among each other, where that is not their place in the sheet.
create or replace temp table numbers as
select n, row_number() over (order by n) - 1 as place
from taken
where $some_left_out
