-- For loads of which a person has said that left and right are the wrong way round: each position and its opposite.
create or replace temp table known_swapped_sides as
select q.load_id, one.position_id, other.position_id as opposite_id
from identity_questions as q
join identity_answers as a on a.identity_question_id = q.identity_question_id
join known_loads on known_loads.load_id = q.load_id
join known_moment as m on m.known_by is null or a.answered_at <= m.known_by
cross join positions as one
join positions as other
    on other.model = one.model and other.axle = one.axle and other.kind = one.kind
    and other.place is not distinct from one.place
    and (one.side, other.side) in (('left', 'right'), ('right', 'left'))
where a.answer = 'swapped'
