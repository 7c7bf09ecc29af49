insert into positions (
    position_id, model, axle, side, place, kind, joint, load_id, source_row, row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    c.model,
    c.axle,
    c.side,
    c.place,
    c.kind,
    c.joint,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
order by c.n
