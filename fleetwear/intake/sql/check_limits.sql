select
    t.n,
    t.source_row,
    t.quarantine_number as settles,
    models.model,
    t.kind,
    lower(t.place) as place,
    t.direction,
    t.method,
    t.support,
    t.read_at,
    t."limit" as limit_mm,
    t.limit_number,
    t.limit_unit_spelt as limit_unit,
    t.basis,
    t.source,
    coalesce(t.valid_from, date '1950-01-01') as valid_from,
    -- What says nothing of a support is known again as before there was that column.
    to_json([
        models.model, t.kind, lower(t.place), t.direction, t.method, t.read_at, round(t."limit", 6)::varchar,
        t.basis, t.source, t.valid_from::varchar
    ] || case when t.support is null then [] else [t.support] end)::varchar as content,
    null::bigint as entry_vehicle_id,
    null::date as entry_date,
    null::double as entry_odometer_km,
    t.reasons
from typed as t
left join models on models.model_key = t.model_key
