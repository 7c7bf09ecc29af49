-- The key of a row that supersedes another: as a file's row would have it, or the next one that is free.
select arg_min(md5(c.content || k::varchar), k) as row_key
from contents as c, range(1, 10000) as times (k)
where md5(c.content || k::varchar) not in (
    select row_key from table_of_rows
)
