-- What sort of question a number is of, and its answer if it has one.
select 'reading' as asks, a.answer
from questions as q
left join answers as a on a.question_id = q.question_id
where q.question_id = $question_id
union all
select i.asks, b.answer
from identity_questions as i
left join identity_answers as b on b.identity_question_id = i.identity_question_id
where i.identity_question_id = $question_id
