-- Visits of one vehicle at which readings are of another.
select v.visit_id, count(*) as n, min(r.reading_id) as first_id, max(r.reading_id) as last_id
from readings as r
left join standing_rows as moved
    on moved.table_name = 'visits' and moved.row_id = r.visit_id and moved.standing_id is not null
inner join visits as v on v.visit_id = coalesce(moved.standing_id, r.visit_id)
anti join superseded as gone on gone.table_name = 'readings' and gone.row_id = r.reading_id
where v.vehicle_id <> r.vehicle_id
group by v.visit_id
order by v.visit_id
