-- The limits in force on a day that can apply to joints of a model.
select l.limit_id, l.kind, l.place, l.model, l.direction, l.method, l.read_at, l.limit_mm, l.source, l.valid_from
from limits as l
anti join not_counting as gone on gone.table_name = 'limits' and gone.row_id = l.limit_id
where (l.model is null or l.model = $model) and l.valid_from <= $on_date
order by l.limit_id
