-- Readings with their session and stroke. Rows stand in the order of the sheet, which the database keeps by itself.
insert into reading_rows (
    reading_id, visit_id, vehicle_id, position_id, way_id, session, stroke, result, play_mm, play_written, play_unit,
    resolution_mm, load_id, source_row, row_key
)
select
    $first_id + coalesce(numbers.place, c.n),
    coalesce(c.visit_id, $first_visit_id + fresh.place),
    c.vehicle_id,
    c.position_id,
    ways.way_id,
    coalesce(given.session, c.session, 1),
    coalesce(given.stroke, c.stroke, 1),
    c.result,
    c.play_mm,
    c.play_written,
    c.play_unit,
    c.resolution_mm,
    $load_id,
    c.source_row,
    coalesce(own.row_key, reading_key(c))
from placed_readings as c
anti join left_out on left_out.n = c.n
left join own_keys as own on own.n = c.n
left join new_visits as fresh
    on fresh.vehicle_id = c.vehicle_id and fresh.visit_date = c.visit_date
    and fresh.visit_odometer_km is not distinct from c.visit_odometer_km
inner join known_ways as ways on same_way(c, ways)
left join given_strokes as given on given.n = c.n
left join numbers on numbers.n = c.n
where len(c.reasons) = 0
