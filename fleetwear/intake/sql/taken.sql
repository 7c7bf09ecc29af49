-- The good rows that the store does not have yet.
create or replace temp view taken as
select c.*
from checked as c
anti join left_out on left_out.n = c.n
where len(c.reasons) = 0
