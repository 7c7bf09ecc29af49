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
corrected_rows as (
    select v.row_key
    from vehicles as v
    semi join superseded as gone on gone.table_name = 'vehicles' and gone.row_id = v.vehicle_row_id
),
-- A vehicle is known by its identification number, else by its unit number. A number that is a slip for the one before
-- it is that one. A row without a number has that of the rows of its unit before it, or else after it, unless another
-- unit bears that number in between: then the number has moved on from this vehicle, or came to the unit with another.
numbered as (
    select
        unit_key, from_date, false as is_stored, n, vin_of(vin) as vin_key, null::bigint as vehicle_id,
        md5(content || '1') in (select row_key from corrected_rows) as is_corrected
    from keyed
    union all
    select
        lower(unit), valid_from, true, vehicle_row_id, vin_of(vin), vehicle_id,
        row_key in (select row_key from corrected_rows)
    from vehicles
),
compared_numbers as (
    select
        *,
        lag(vin_key ignore nulls) over (
            partition by unit_key order by from_date, not is_stored, n
        ) as vin_before
    from numbered
),
own_numbers as (
    select
        * exclude (vin_before),
        case when vin_is_slip(vin_key, vin_before) then vin_before else vin_key end as own_vin,
        case when vin_key is not null then from_date end as own_date
    from compared_numbers
),
borne as (
    select distinct own_vin as vin, unit_key, from_date
    from own_numbers
    where own_vin is not null and not is_corrected
),
neighbours as (
    select
        *,
        last_value(own_vin ignore nulls) over before_it as last_vin,
        last_value(own_date ignore nulls) over before_it as last_date,
        first_value(own_vin ignore nulls) over after_it as next_vin,
        first_value(own_date ignore nulls) over after_it as next_date
    from own_numbers
    window
        before_it as (
            partition by unit_key order by from_date, not is_stored, n
            rows between unbounded preceding and current row
        ),
        after_it as (
            partition by unit_key order by from_date, not is_stored, n
            rows between current row and unbounded following
        )
),
moved_on as (
    select distinct r.is_stored, r.n
    from neighbours as r
    inner join borne as b
        on b.vin = r.last_vin and b.unit_key <> r.unit_key and b.from_date > r.last_date and b.from_date <= r.from_date
    where r.own_vin is null
),
came_later as (
    select distinct r.is_stored, r.n
    from neighbours as r
    inner join borne as b on b.vin = r.next_vin and b.unit_key <> r.unit_key and b.from_date < r.next_date
    where r.own_vin is null
),
filled as (
    select
        r.*,
        coalesce(
            case when moved_on.n is null then r.last_vin end,
            case when came_later.n is null then r.next_vin end,
            'unit ' || r.unit_key
        ) as identity
    from neighbours as r
    left join moved_on on moved_on.is_stored = r.is_stored and moved_on.n = r.n
    left join came_later on came_later.is_stored = r.is_stored and came_later.n = r.n
),
-- Where several vehicles on record have the identity, that counts which bears the number itself; one that bears another
-- number never counts for it.
identified as (
    select
        f.is_stored,
        f.n,
        f.identity,
        coalesce(
            min(f.vehicle_id) filter (where f.own_vin is not null) over same_identity,
            min(f.vehicle_id) filter (
                where f.identity = 'unit ' || f.unit_key or f.vehicle_id not in (
                    select o.vehicle_id from own_numbers as o where o.is_stored and o.own_vin is not null
                )
            ) over same_identity
        ) as vehicle_id
    from filled as f
    window same_identity as (partition by f.identity)
),
compared as (
    select
        k.*,
        i.identity,
        i.vehicle_id,
        md5(k.content || '1') as key_here,
        first_value(k.content) over same_day as first_content,
        first_value(k.source_row) over same_day as first_row,
        first_value(k.unit) over same_identity as first_unit,
        first_value(k.unit_key) over same_identity as first_unit_key,
        first_value(k.source_row) over same_identity as first_unit_row
    from keyed as k
    inner join identified as i on i.n = k.n and not i.is_stored
    window
        same_day as (partition by k.unit_key, k.from_date order by len(k.reasons) > 0, k.n),
        same_identity as (partition by i.identity, k.from_date order by len(k.reasons) > 0, k.n)
)
select
    c.n,
    c.source_row,
    c.quarantine_number as settles,
    c.vehicle_id,
    c.identity,
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
    coalesce(c.vehicle_id, -dense_rank() over (order by c.identity)) as entry_vehicle_id,
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
        end,
        case
            when other_unit.unit is not null
                then 'vin "' || c.vin || '" is unit "' || other_unit.unit || '" from ' || c.from_date || ' on ('
                    || other_unit.file_name || ', row ' || other_unit.source_row
                    || '): correct one of them; a new unit number needs its own valid from date'
            when c.first_unit_key <> c.unit_key
                then 'vin "' || c.vin || '" is unit "' || c.first_unit || '" from ' || c.from_date || ' on (row '
                    || c.first_unit_row
                    || '): correct one of them; a new unit number needs its own valid from date'
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
left join (
    select
        vin_of(v.vin) as vin_key,
        v.valid_from,
        any_value(lower(v.unit)) as unit_key,
        any_value(v.unit) as unit,
        any_value(v.source_row) as source_row,
        any_value(loads.file_name) as file_name
    from vehicles as v
    inner join loads on loads.load_id = v.load_id
    where vin_of(v.vin) is not null
    group by vin_of(v.vin), v.valid_from
) as other_unit
    on other_unit.vin_key = vin_of(c.vin) and other_unit.valid_from = c.from_date and other_unit.unit_key <> c.unit_key
