insert into stock (
    stock_id, part_number, depot, on_hand, on_order, expected_date, counted_on, load_id, source_row, row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    c.part_number,
    c.depot,
    c.on_hand,
    c.on_order,
    c.expected_date,
    c.counted_on,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
order by c.n
