select
    q.question_id,
    q.question,
    r.reading_id,
    v.unit,
    p.joint,
    d.visit_date,
    r.direction,
    r.play_mm,
    r.play_written,
    r.play_unit,
    l.file_name as file,
    r.source_row as row
from questions as q
anti join answers as a on a.question_id = q.question_id
anti join superseded as gone on gone.table_name = 'readings' and gone.row_id = q.reading_id
inner join readings as r on r.reading_id = q.reading_id
inner join positions as p on p.position_id = r.position_id
inner join visits as d on d.visit_id = r.visit_id
inner join loads as l on l.load_id = r.load_id
inner join (select vehicle_id, any_value(unit) as unit from vehicles group by vehicle_id) as v
    on v.vehicle_id = r.vehicle_id
order by q.question_id
