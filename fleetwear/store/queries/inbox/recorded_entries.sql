-- Every entry that was taken or refused, with what the store knows of its file.
select
    entry,
    any_value(sha256) as sha256,
    any_value(original_name) as original_name
from inbox_entries
group by entry
order by entry
