-- The good rows that the store does not have yet.
create or replace temp table taken as
select keyed.n, keyed.row_key
from keyed
anti join known on known.n = keyed.n
where not keyed.repeated
