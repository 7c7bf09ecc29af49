-- The newest row that stands of every part number for the joints that it fits; place_no is its place in the order of
-- first mention. A correction is as old as the row that it took the place of.
with recursive came_from (part_id, earlier_id) as (
    select new_row_id, row_id from corrections where table_name = 'parts' and new_row_id is not null
    union
    select came_from.part_id, c.row_id
    from came_from
    join corrections as c on c.table_name = 'parts' and c.new_row_id = came_from.earlier_id
),

origins as (
    select part_id, min(earlier_id) as first_id from came_from group by part_id
)

select
    p.part_number,
    p.model,
    p.kind,
    p.place,
    p.supplier,
    p.cost,
    p.lead_days,
    p.labour_hours,
    p.alignment_after,
    p.superseded_by,
    coalesce(p.ordered_in_pairs, false) as ordered_in_pairs,
    coalesce(p.pieces_per_joint, 1) as pieces_per_joint,
    min(coalesce(o.first_id, p.part_id)) over (partition by p.part_number) as place_no
from parts as p
join loads as l on l.load_id = p.load_id
join forecasts as f
    on f.forecast_id = $forecast_id and (f.known_by is null or l.loaded_at <= f.known_by)
left join origins as o on o.part_id = p.part_id
where not exists (
    select 1
    from corrections as c
    join loads as cl on cl.load_id = c.load_id
    where c.table_name = 'parts' and c.row_id = p.part_id and (f.known_by is null or cl.loaded_at <= f.known_by)
)
qualify row_number() over (
    partition by p.part_number, p.model, p.kind, p.place
    order by coalesce(o.first_id, p.part_id) desc, p.part_id desc
) = 1
order by place_no, p.part_id
