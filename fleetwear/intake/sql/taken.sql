-- The good rows that the store does not have yet, numbered from 0.
create or replace temp table taken as
select keyed.n, keyed.row_key, row_number() over (order by keyed.n) - 1 as place
from keyed
anti join known on known.n = keyed.n
where not keyed.repeated
