select
    t.n,
    t.source_row,
    t.quarantine_number as settles,
    models.model,
    t.wheel_part,
    t.weight_class,
    t.bead_inches_from as bead_from_in,
    t.bead_inches_to as bead_to_in,
    t.direction,
    t.method,
    t.support,
    t.read_at,
    t.bearings_adjusted,
    t."limit" as limit_mm,
    t.limit_number,
    case when t.limit_number is not null then t.limit_unit_spelt end as limit_unit,
    t.basis,
    t.source,
    t.note,
    coalesce(t.valid_from, date '1950-01-01') as valid_from,
    to_json([
        models.model, t.wheel_part, t.weight_class, t.bead_inches_from::varchar, t.bead_inches_to::varchar,
        t.direction, t.method, t.support, t.read_at, t.bearings_adjusted::varchar, round(t."limit", 6)::varchar,
        t.basis, t.source, t.note, t.valid_from::varchar
    ])::varchar as content,
    null::bigint as entry_vehicle_id,
    null::date as entry_date,
    null::double as entry_odometer_km,
    without_nulls(t.reasons || [
        case
            when t.bead_inches_from > t.bead_inches_to
                then 'bead inches from "' || t.bead_inches_from_written || '" is above bead inches to "'
                    || t.bead_inches_to_written || '": change them about'
        end,
        case
            when t.limit_written is null and t.note_written is null
                then 'there is neither a limit nor a note: write the limit with its unit, or in the note what the '
                    || 'source says where it gives no number'
        end
    ]) as reasons
from typed as t
left join models on models.model_key = t.model_key
