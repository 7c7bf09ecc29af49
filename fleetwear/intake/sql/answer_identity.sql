insert into identity_answers (identity_question_id, answer, answered_by, answered_at)
values ($question_id, $answer, $by, coalesce($at, current_timestamp::timestamp))
