-- Every agreement, with whether it still stands: the newest about a source from a day on does, unless it takes it back.
select
    agreement_id,
    source,
    name,
    since,
    until,
    shift_mm,
    variance_ratio,
    coalesce(why, '') as why,
    coalesce(agreed_by, '') as agreed_by,
    agreed_at,
    stands and row_number() over (partition by source, name, since order by agreement_id desc) = 1 as stands
from agreements
order by agreement_id
