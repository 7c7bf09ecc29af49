create or replace temp table checked as
with dated as (
    select
        t.*,
        models.model as model_name,
        coalesce(t.valid_from, t.in_service_date, date '1950-01-01') as from_date
    from typed as t
    left join models on models.model_key = t.model_key
),
keyed as (
    select
        d.*,
        to_json([
            d.unit_key, d.from_date::varchar, d.vin, d.plate, d.make, d.model_name, d.year::varchar, d.tyre_size,
            d.owner, d.duty, d.depot, d.in_service_date::varchar, round(d.in_service_odometer, 6)::varchar,
            coalesce(d.distance_source, 'odometer'), coalesce(d.distance_unit, 'km'), coalesce(d.play_unit, 'mm')
        ] || case when d.weight_class is null then [] else [d.weight_class] end)::varchar as content
    from dated as d
),
compared as (
    select
        k.*,
        v.vehicle_id,
        md5(k.content || '1') as key_here,
        first_value(k.content) over same_day as first_content,
        first_value(k.source_row) over same_day as first_row
    from keyed as k
    left join (select distinct unit_key, vehicle_id from vehicle_spans) as v on v.unit_key = k.unit_key
    window same_day as (partition by k.unit_key, k.from_date order by len(k.reasons) > 0, k.n)
)
select
    c.n,
    c.source_row,
    c.quarantine_number as settles,
    c.vehicle_id,
    c.unit_key,
    c.unit,
    c.from_date,
    c.vin,
    c.plate,
    c.make,
    c.model_name as model,
    c.year,
    c.tyre_size,
    c.weight_class,
    c.owner,
    c.duty,
    c.depot,
    c.in_service_date,
    c.in_service_odometer,
    coalesce(c.distance_source, 'odometer') as distance_source,
    coalesce(c.distance_unit, 'km') as distance_unit,
    coalesce(c.play_unit, 'mm') as play_unit,
    c.content,
    -- A vehicle new to the store has no number yet; no two of them share one here.
    coalesce(c.vehicle_id, -dense_rank() over (order by c.unit_key)) as entry_vehicle_id,
    c.in_service_date as entry_date,
    c.in_service_odometer as entry_odometer_km,
    without_nulls(c.reasons || [
        case
            when c.year < 1900 or c.year > year($today::date) + 2
                then 'year ' || c.year || ' cannot be right: write the model year with its four digits'
        end,
        case
            when stored.source_row is not null and c.key_here not in (select row_key from vehicles)
                then 'unit "' || c.unit || '" is already on record otherwise from ' || c.from_date || ' on ('
                    || stored.file_name || ', row ' || stored.source_row
                    || '): a change needs its own valid from date'
            when c.content <> c.first_content
                then 'unit "' || c.unit || '" stands otherwise in row ' || c.first_row || ' from ' || c.from_date
                    || ' on: a change needs its own valid from date'
        end
    ]) as reasons
from compared as c
left join (
    select lower(v.unit) as unit_key, v.valid_from, v.row_key, v.source_row, loads.file_name
    from vehicles as v
    inner join loads on loads.load_id = v.load_id
    anti join not_counting as aside on aside.table_name = 'vehicles' and aside.row_id = v.vehicle_row_id
) as stored
    on stored.unit_key = c.unit_key and stored.valid_from = c.from_date and stored.row_key <> c.key_here
