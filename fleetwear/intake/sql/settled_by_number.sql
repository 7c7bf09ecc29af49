-- The open quarantined rows that good rows of the sheet name as the ones they correct.
select distinct q.quarantine_id
from keyed
inner join quarantine as q on q.quarantine_id = keyed.settles and q.table_name = $table_name
anti join settled_rows as s on s.quarantine_id = q.quarantine_id
anti join refused_in_sheet as bad on bad.n = keyed.n
order by q.quarantine_id
