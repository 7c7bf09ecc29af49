insert into actions (
    action_id, vehicle_id, position_id, action_date, action, done_by, note, load_id, source_row, row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    c.vehicle_id,
    c.position_id,
    c.action_date,
    c.action,
    c.done_by,
    c.note,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
order by c.n
