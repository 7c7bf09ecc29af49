-- Keys that more than one reading has: a row that was taken in twice.
select row_key, count(*) as n, min(reading_id) as first_id, max(reading_id) as last_id
from readings
group by row_key
having count(*) > 1
order by first_id
