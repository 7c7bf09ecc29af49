-- Each row with its key as the first that says so: the hash of what it says.
create or replace temp table checked as
select *, md5(content || '1') as row_key
from read_rows
