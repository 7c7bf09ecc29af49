-- What the program did, the latest first.
select
    run_id as run,
    what,
    began_at,
    elapsed_seconds as seconds,
    outcome,
    said,
    counts::varchar as counts,
    settings::varchar as settings,
    version
from runs
where $what is null or what = $what
order by run_id desc
limit $last
