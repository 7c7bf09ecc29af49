-- The readings that the store has. Where the visit of a reading was moved, a file that says it as it now stands is known
-- too: by the key that the reading had where its visit stood before.
select keyed.n, t.reading_id as row_id
from keyed
inner join reading_rows as t on t.row_key = keyed.row_key
union all
select c.n, t.reading_id
from (
    select standing_id, visit_id, visit_said(vehicle_id, visit_date, odometer_km) as visit_said from former_visits
) as former
inner join placed_readings as c on c.visit_id = former.standing_id and len(c.reasons) = 0
left join own_keys as own on own.n = c.n
inner join reading_rows as t
    on t.visit_id = former.visit_id
    and t.row_key = md5(
        all_said(former.visit_said, c.way_said, c.play_said, c.instrument) || coalesce(own.occurrence, 1)::varchar
    )
