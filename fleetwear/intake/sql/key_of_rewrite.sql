-- The key of a row that supersedes another: as a file's row would have it, or the next one that is free.
create or replace temp table keyed as
select
    c.n,
    c.source_row,
    c.settles,
    c.content,
    (
        select arg_min(md5(c.content || k::varchar), k)
        from range(1, 10000) as times (k)
        where md5(c.content || k::varchar) not in (
            select row_key from table_of_rows
        )
    ) as row_key,
    false as repeated
from checked as c
where len(c.reasons) = 0
