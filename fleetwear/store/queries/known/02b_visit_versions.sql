-- The visits that were known to be corrected, each with the visit that stood in its place (null: it was withdrawn).
create or replace temp table known_visit_versions as
with recursive steps (visit_id, standing_id) as (
    select row_id, new_row_id from known_superseded where table_name = 'visits'
    union
    select steps.visit_id, s.new_row_id
    from steps
    join known_superseded as s on s.table_name = 'visits' and s.row_id = steps.standing_id
)

select steps.visit_id, steps.standing_id
from steps
anti join known_superseded as s on s.table_name = 'visits' and s.row_id = steps.standing_id
