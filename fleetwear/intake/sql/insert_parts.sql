insert into parts (
    part_id, part_number, model, kind, place, supplier, cost, lead_days, labour_hours, alignment_after, superseded_by,
    ordered_in_pairs, pieces_per_joint, load_id, source_row, row_key
)
select
    $first_id + row_number() over (order by c.n) - 1,
    c.part_number,
    c.model,
    c.kind,
    c.place,
    c.supplier,
    c.cost,
    c.lead_days,
    c.labour_hours,
    c.alignment_after,
    c.superseded_by,
    c.ordered_in_pairs,
    c.pieces_per_joint,
    $load_id,
    c.source_row,
    c.row_key
from taken as c
order by c.n
