-- The latest count of every part number at every depot.
select s.part_number, s.depot, s.on_hand, s.on_order, s.expected_date, s.counted_on
from stock as s
join loads as l on l.load_id = s.load_id
join forecasts as f
    on f.forecast_id = $forecast_id and (f.known_by is null or l.loaded_at <= f.known_by)
qualify row_number() over (
    partition by s.part_number, lower(s.depot)
    order by s.counted_on desc, s.stock_id desc
) = 1
order by s.part_number, s.depot
