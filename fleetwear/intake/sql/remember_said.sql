-- How often each content has been said in the sheets of this file so far, by its first key.
insert into said_in_file (table_name, row_key, times)
select $table_name, reading_key(c) as row_key, count(*)
from placed_readings as c
where len(c.reasons) = 0
group by reading_key(c)
