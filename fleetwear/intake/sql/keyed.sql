-- Each good row with its key: the hash of what it says, and for readings of how often that has been said in its
-- file. For every other table a second row of the same content says nothing new.
create or replace temp table keyed as
with counted as (
    select
        c.n,
        c.source_row,
        c.settles,
        c.content,
        row_number() over (partition by c.content order by c.n) as occurrence
    from checked as c
    where len(c.reasons) = 0
)
select
    k.n,
    k.source_row,
    k.settles,
    k.content,
    md5(
        k.content || case when $counts_repeats then k.occurrence + coalesce(said.times, 0) else 1 end::varchar
    ) as row_key,
    not $counts_repeats and k.occurrence > 1 as repeated
from counted as k
left join (
    select content, sum(times)::bigint as times
    from said_in_file
    where table_name = $table_name
    group by content
) as said on said.content = k.content
