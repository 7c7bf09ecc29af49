-- Readings of a sheet of which every row is taken in, and none says again what another has said. Without a join the
-- database writes their columns with all its threads.
insert into reading_rows (
    reading_id, visit_id, vehicle_id, position_id, way_id, session, stroke, result, play_mm, play_written, play_unit,
    resolution_mm, load_id, source_row, row_key
)
select
    $first_id + c.n,
    coalesce(c.visit_id, $first_visit_id + c.visit_place),
    c.vehicle_id,
    c.position_id,
    c.way_id,
    coalesce(c.session, 1),
    coalesce(c.stroke, 1),
    c.result,
    c.play_mm,
    c.play_written,
    c.play_unit,
    c.resolution_mm,
    $load_id,
    c.source_row,
    reading_key(c)
from placed_readings as c
