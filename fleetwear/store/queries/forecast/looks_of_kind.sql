-- The days on which joints of a kind that have a mate were measured; needs forecast_looks.
select l.*
from forecast_looks as l
where l.kind = $kind
order by l.vehicle_id, l.position_id, l.visit_date
