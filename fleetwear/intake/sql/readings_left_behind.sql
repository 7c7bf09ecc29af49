-- The unit and how many rows that were read at a visit, where the visit is being corrected to be another vehicle's.
with versions as (
    select $row_id::bigint as visit_id
    union
    select s.row_id
    from standing_rows as s
    where s.table_name = 'visits' and s.standing_id in (
        select own.standing_id
        from standing_rows as own
        where own.table_name = 'visits' and own.row_id = $row_id
    )
),
read_there as (
    select r.vehicle_id
    from readings as r
    semi join versions on versions.visit_id = r.visit_id
    anti join superseded as gone on gone.table_name = 'readings' and gone.row_id = r.reading_id
    union all
    select w.vehicle_id
    from wheel_checks as w
    semi join versions on versions.visit_id = w.visit_id
)
select any_value(v.unit) as unit, any_value(c.unit) as new_unit, count(*) as n
from read_there as r
cross join (
    select checked.vehicle_id, typed.unit
    from checked
    inner join typed on typed.n = checked.n
) as c
inner join (select vehicle_id, arg_max(unit, (valid_from, vehicle_row_id)) as unit from vehicles group by vehicle_id) as v
    on v.vehicle_id = r.vehicle_id
where r.vehicle_id <> c.vehicle_id
having count(*) > 0
