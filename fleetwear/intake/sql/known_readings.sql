-- The readings that the store has. Where the visit of a reading was moved, a file that says it as it now stands is known
-- too: by the key that the reading had where its visit stood before.
select keyed.n, t.reading_id as row_id
from keyed
inner join reading_rows as t on t.row_key = keyed.row_key
union all
select c.n, t.reading_id
from (
    select
        moved.standing_id,
        v.visit_id,
        visit_said(v.vehicle_id, v.visit_date, v.odometer_km) as visit_said
    from standing_rows as moved
    inner join visits as v on v.visit_id = moved.row_id
    where moved.table_name = 'visits' and moved.standing_id is not null
) as former
inner join placed_readings as c on c.visit_id = former.standing_id and len(c.reasons) = 0
left join own_keys as own on own.n = c.n
inner join reading_rows as t
    on t.visit_id = former.visit_id
    and t.row_key = md5(
        all_said(former.visit_said, c.way_said, c.play_said, c.instrument) || coalesce(own.occurrence, 1)::varchar
    )
