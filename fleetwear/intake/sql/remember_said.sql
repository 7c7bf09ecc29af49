-- How often each content has been said in the sheets of this file so far.
insert into said_in_file (table_name, content, times)
select $table_name, content, count(*)
from keyed
group by content
