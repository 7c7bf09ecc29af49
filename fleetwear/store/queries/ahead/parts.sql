-- The newest row of every part number for the joints that it fits; place_no is its place in the order of first mention.
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
    min(p.part_id) over (partition by p.part_number) as place_no
from parts as p
join loads as l on l.load_id = p.load_id
join forecasts as f
    on f.forecast_id = $forecast_id and (f.known_by is null or l.loaded_at <= f.known_by)
qualify row_number() over (
    partition by p.part_number, p.model, p.kind, p.place
    order by p.part_id desc
) = 1
order by place_no, p.part_id
