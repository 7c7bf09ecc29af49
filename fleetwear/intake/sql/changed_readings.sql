-- How many of the readings taken in stand where an earlier load of a file of this name had another one, that the
-- file no longer says, of the same joint, direction and day, or different in one thing only. A monthly export with
-- the same name differs in date and odometer at once. What is set aside is not asked about: a correction settles it.
with earlier as (
    select
        r.source_row,
        r.vehicle_id,
        v.visit_date,
        v.odometer_km,
        p.joint,
        r.direction,
        r.result,
        r.play_mm,
        -- Of equal strokes any may be the one that is gone.
        bool_or(said.row_id is null) over (
            partition by r.visit_id, r.position_id, r.direction, r.method, r.timing, r.result, r.play_mm
        ) as is_gone
    from readings as r
    inner join loads as l on l.load_id = r.load_id
    inner join visits as v on v.visit_id = r.visit_id
    inner join positions as p on p.position_id = r.position_id
    left join (select distinct row_id from known) as said on said.row_id = r.reading_id
    anti join not_counting as aside on aside.table_name = 'readings' and aside.row_id = r.reading_id
    where l.file_name = $file_name and l.sheet is not distinct from $sheet and l.table_name = 'readings'
),
pairs as (
    select
        c.n,
        c.vehicle_id <> e.vehicle_id as other_vehicle,
        c.visit_date <> e.visit_date as other_date,
        not coalesce(
            abs(c.visit_odometer_km - e.odometer_km) <= 0.05,
            c.visit_odometer_km is null and e.odometer_km is null and c.visit_date = e.visit_date
        ) as other_odometer,
        p.joint <> e.joint as other_joint,
        c.direction <> e.direction as other_direction,
        c.result <> e.result or round(c.play_mm, 6) is distinct from round(e.play_mm, 6) as other_play
    from taken as c
    inner join positions as p on p.position_id = c.position_id
    inner join earlier as e on e.source_row = c.source_row
    where e.is_gone
)
select count(distinct n)
from pairs
where not (other_vehicle or other_date or other_joint or other_direction)
    or other_vehicle::integer + other_date::integer + other_odometer::integer + other_joint::integer
        + other_direction::integer + other_play::integer <= 1
