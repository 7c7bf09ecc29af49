-- The places with more than one good row: only there can rows say the same, or be strokes of one session.
create or replace temp table crowded as
select place
from checked
where len(reasons) = 0
group by place
having count(*) > 1
