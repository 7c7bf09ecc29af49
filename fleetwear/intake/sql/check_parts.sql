create or replace temp table checked as
select
    t.n,
    t.source_row,
    t.quarantine_number as settles,
    t.part_number,
    models.model,
    t.kind,
    lower(t.place) as place,
    t.supplier,
    t.cost,
    t.lead_days,
    t.labour_hours,
    t.alignment_after,
    to_json([
        t.part_number, models.model, t.kind, lower(t.place), t.supplier, t.cost::varchar, t.lead_days::varchar,
        t.labour_hours::varchar, t.alignment_after::varchar
    ])::varchar as content,
    null::bigint as entry_vehicle_id,
    null::date as entry_date,
    null::double as entry_odometer_km,
    without_nulls(t.reasons || [
        case when t.cost < 0 then 'cost "' || t.cost_written || '" is negative: it cannot be below zero' end,
        case
            when t.lead_days < 0
                then 'lead days "' || t.lead_days_written || '" is negative: it cannot be below zero'
        end,
        case
            when t.labour_hours < 0
                then 'labour hours "' || t.labour_hours_written || '" is negative: it cannot be below zero'
        end
    ]) as reasons
from typed as t
left join models on models.model_key = t.model_key
