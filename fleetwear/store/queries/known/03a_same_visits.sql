-- Visits that a person has said to be one with an earlier loaded one, which then stands for both.
create or replace temp table known_same_visits as
with recursive said as (
    select q.visit_id, q.other_visit_id
    from identity_questions as q
    join identity_answers as a on a.identity_question_id = q.identity_question_id
    join known_loads on known_loads.load_id = q.load_id
    join known_moment as m on m.known_by is null or a.answered_at <= m.known_by
    anti join known_set_aside as aside on aside.table_name = 'visits' and aside.row_id = q.other_visit_id
    where a.answer = 'same visit'
),

followed as (
    select visit_id, other_visit_id from said
    union
    select followed.visit_id, said.other_visit_id
    from followed
    join said on said.visit_id = followed.other_visit_id
)

select visit_id, min(other_visit_id) as same_as
from followed
group by visit_id
