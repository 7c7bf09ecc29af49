-- Nothing is recorded where an entry that was taken before has brought nothing now, or is refused as it was.
insert into inbox_entries (
    entry, taking, sha256, original_name, size_bytes, received_at, load_ids, refused, taken_at
)
select
    $entry,
    1 + count(*),
    $sha256,
    $original_name,
    $size_bytes,
    $received_at,
    $load_ids::bigint[],
    $refused::varchar,
    $taken_at
from inbox_entries
where entry = $entry
having
    count(*) = 0
    or len($load_ids::bigint[]) > 0
    or arg_max(coalesce(refused, ''), taking) <> coalesce($refused::varchar, '')
