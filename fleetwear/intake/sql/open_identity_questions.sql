select
    q.identity_question_id as question_id,
    q.question,
    v.unit,
    d.visit_date,
    l.file_name as file,
    d.source_row as row,
    q.asks
from identity_questions as q
anti join identity_answers as a on a.identity_question_id = q.identity_question_id
inner join loads as l on l.load_id = q.load_id
left join visits as d on d.visit_id = q.visit_id
left join (select vehicle_id, any_value(unit) as unit from vehicles group by vehicle_id) as v
    on v.vehicle_id = d.vehicle_id
order by q.identity_question_id
