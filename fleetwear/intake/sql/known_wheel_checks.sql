-- The wheel checks that the store has; as of readings, those of a moved visit by the key that they had before too.
select keyed.n, t.wheel_check_id as row_id
from keyed
inner join wheel_checks as t on t.row_key = keyed.row_key
union all
select c.n, t.wheel_check_id
from former_visits as former
inner join checked as c on c.visit_id = former.standing_id and len(c.reasons) = 0
inner join wheel_checks as t
    on t.visit_id = former.visit_id
    and t.row_key = md5(wheel_check_content(c, former.vehicle_id, former.visit_date, former.odometer_km) || '1')
