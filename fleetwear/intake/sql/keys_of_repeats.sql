-- The keys of readings that the sheets of this file have said before: they tell how often it has been said.
create or replace temp table own_keys as
with doubtful as (
    select c.n, said_by(c) as content
    from placed_readings as c
    where len(c.reasons) = 0 and (
        $every_row or c.n in (select k.n from checked as k semi join crowded on crowded.place = k.place)
    )
),
counted as (
    select d.n, d.content, row_number() over (partition by d.content order by d.n) as occurrence
    from doubtful as d
),
times as (
    select row_key, sum(times)::bigint as times
    from said_in_file
    where table_name = $table_name
    group by row_key
)
select
    c.n,
    c.occurrence + coalesce(times.times, 0) as occurrence,
    md5(c.content || (c.occurrence + coalesce(times.times, 0))::varchar) as row_key
from counted as c
left join times on times.row_key = md5(c.content || '1')
where c.occurrence + coalesce(times.times, 0) > 1
