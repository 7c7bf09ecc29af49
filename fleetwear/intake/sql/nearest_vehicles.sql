-- For each unknown unit number in the sheet, the known one that reads most like it.
create or replace temp table nearest_vehicles as
with unknown as (
    select distinct typed.unit_key as unit_key
    from typed
    where typed.unit is not null
        and typed.unit_key not in (select unit_key from vehicle_spans)
    order by unit_key
    limit 200
),
known as (select distinct unit, unit_key from vehicle_spans)
select
    unknown.unit_key,
    arg_max(known.unit, jaro_winkler_similarity(unknown.unit_key, known.unit_key)) as nearest
from unknown
cross join known
group by unknown.unit_key
