insert into work (
    work_id, vehicle_id, position_id, work_date, odometer_km, work, part_number, supplier, reason, load_id,
    source_row, row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    c.vehicle_id,
    c.position_id,
    c.work_date,
    c.odometer_km,
    c.work,
    c.part_number,
    c.supplier,
    c.reason,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
order by c.n
