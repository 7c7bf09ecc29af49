-- The good rows that say what an earlier row of the sheet says already.
select n
from keyed
qualify row_number() over (partition by row_key order by n) > 1
