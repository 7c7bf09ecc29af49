-- Pairs of opposite joints with plays in this load and before it: how far the new ones lie from the last ones of their
-- own side, and of the other side (mm). Pairs that were worked on in between tell nothing; neither do pairs whose sides
-- were alike.
with means as (
    select
        r.vehicle_id, r.position_id, r.direction, v.visit_date, r.load_id = $load_id as is_new, avg(r.play_mm) as play_mm
    from readings as r
    inner join visits as v on v.visit_id = r.visit_id
    anti join set_aside as a on a.table_name = 'readings' and a.row_id = r.reading_id
    where r.play_mm is not null
        and r.vehicle_id in (select n.vehicle_id from readings as n where n.load_id = $load_id)
        and r.vehicle_id in (select n.vehicle_id from readings as n where n.load_id <> $load_id)
    group by r.vehicle_id, r.position_id, r.direction, v.visit_date, r.load_id = $load_id
),
fresh as (
    select vehicle_id, position_id, direction, min(visit_date) as visit_date, arg_min(play_mm, visit_date) as play_mm
    from means
    where is_new
    group by vehicle_id, position_id, direction
),
paired as (
    select f.*, m.visit_date as last_date, m.play_mm as last_mm
    from fresh as f
    asof inner join (select * from means where not is_new) as m
        on m.vehicle_id = f.vehicle_id and m.position_id = f.position_id and m.direction = f.direction
        and m.visit_date < f.visit_date
),
untouched as (
    select *
    from paired as b
    where not exists (
        select 1
        from work as w
        where w.vehicle_id = b.vehicle_id and w.position_id = b.position_id
            and w.work_date >= b.last_date and w.work_date <= b.visit_date
    )
)
select
    l.vehicle_id,
    abs(l.play_mm - l.last_mm) + abs(r.play_mm - r.last_mm) as own_mm,
    abs(l.play_mm - r.last_mm) + abs(r.play_mm - l.last_mm) as opposite_mm
from untouched as l
inner join positions as pl on pl.position_id = l.position_id and pl.side = 'left'
inner join positions as pr
    on pr.model = pl.model and pr.axle = pl.axle and pr.kind = pl.kind and pr.side = 'right'
    and pr.place is not distinct from pl.place
inner join untouched as r
    on r.vehicle_id = l.vehicle_id and r.position_id = pr.position_id and r.direction = l.direction
where abs(l.last_mm - r.last_mm) >= 0.1
order by l.vehicle_id, l.position_id, l.direction
