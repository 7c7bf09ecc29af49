-- Loads of corrections that are not as many as was recorded.
select loads.load_id, loads.file_name, loads.rows_in, count(corrections.correction_id) as found
from loads
left join corrections on corrections.load_id = loads.load_id
where loads.table_name = 'corrections'
group by loads.load_id, loads.file_name, loads.rows_in
having count(corrections.correction_id) <> loads.rows_in
order by loads.load_id
