-- One row is a measured reading of a series as the fit took it, that did not slip: what setups are told from, with the
-- shop and technician that stand on record now.
with people as (
    select
        visit_id,
        vehicle_id,
        position_id,
        direction,
        timing,
        arg_max(technician, reading_id) filter (where technician is not null) as technician
    from readings
    where result = 'measured'
    group by visit_id, vehicle_id, position_id, direction, timing
)

select
    dense_rank() over (order by f.vehicle_id, f.position_id, f.life_no, f.direction) as life,
    f.growth,
    f.passed,
    f.play_mm,
    f.strokes,
    f.setup_share,
    f.squares_mm2 as squares,
    f.stroke_degrees as degrees,
    f.way,
    coalesce(v.shop, '') as shop,
    coalesce(p.technician, v.technician, '') as technician
from fit_residuals as f
join visit_details as v on v.visit_id = f.visit_id
left join people as p
    on p.visit_id = f.visit_id
    and p.vehicle_id = f.vehicle_id
    and p.position_id = f.position_id
    and p.direction = f.direction
    and p.timing = f.timing
where f.fit_id = $fit_id
    and f.growth is not null
    and f.p_slipped <= $slipped
    and ($kind = '' or split_part(f.model_group, '/', 1) = $kind)
order by life, f.growth, f.visit_id, f.timing
