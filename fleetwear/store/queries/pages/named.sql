-- The versions of every vehicle that bears or has borne a name as its unit number, VIN or plate, in the order in which they
-- hold. Versions that were corrected count only where none of their vehicle stands.
with versions as (
    select
        v.vehicle_id,
        v.vehicle_row_id,
        v.unit,
        v.vin,
        v.plate,
        v.valid_from,
        c.row_id is null as stands
    from vehicles as v
    join loads as l on l.load_id = v.load_id
    left join (
        select distinct corrections.row_id
        from corrections
        join loads on loads.load_id = corrections.load_id
        where corrections.table_name = 'vehicles' and ($known_by is null or loads.loaded_at <= $known_by)
    ) as c on c.row_id = v.vehicle_row_id
    where $known_by is null or l.loaded_at <= $known_by
),

counting as (
    select *
    from versions
    qualify stands or not bool_or(stands) over (partition by vehicle_id)
)

select
    vehicle_id,
    unit,
    valid_from,
    lower(trim($name)) = lower(unit) as is_unit,
    coalesce(lower(trim($name)) in (lower(vin), lower(plate)), false) as is_other
from counting
where vehicle_id in (select vehicle_id from counting where lower(trim($name)) in (lower(unit), lower(vin), lower(plate)))
order by vehicle_id, valid_from, vehicle_row_id
