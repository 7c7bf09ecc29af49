-- Each vehicle as it is at the moment: the latest version that has begun, or else its first. A vehicle that is not yet
-- in service then, nor in any visit, is not there.
create or replace temp table known_vehicles as
select v.*
from vehicles as v
join known_loads using (load_id)
cross join known_moment as m
anti join known_superseded as s on s.table_name = 'vehicles' and s.row_id = v.vehicle_row_id
where greatest(v.valid_from, coalesce(v.in_service_date, v.valid_from)) <= m.as_of
    or exists (
        select 1
        from visits as i
        join known_loads as il on il.load_id = i.load_id
        where i.vehicle_id = v.vehicle_id and i.visit_date <= m.as_of
            and not exists (
                select 1 from known_superseded as w where w.table_name = 'visits' and w.row_id = i.visit_id
            )
    )
qualify row_number() over (
    partition by v.vehicle_id
    order by v.valid_from <= m.as_of desc,
        case when v.valid_from <= m.as_of then v.valid_from end desc,
        v.valid_from,
        v.vehicle_row_id desc
) = 1
