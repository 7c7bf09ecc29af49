-- Numbers that more than one reading has.
select reading_id, count(*) as n
from readings
group by reading_id
having count(*) > 1
order by reading_id
