select
    t.n,
    t.source_row,
    t.quarantine_number as settles,
    t.part_number,
    t.depot,
    t.on_hand,
    coalesce(t.on_order, 0) as on_order,
    t.expected_date,
    t.counted_on,
    to_json([
        t.part_number, t.depot, t.on_hand::varchar, coalesce(t.on_order, 0)::varchar, t.expected_date::varchar,
        t.counted_on::varchar
    ])::varchar as content,
    null::bigint as entry_vehicle_id,
    null::date as entry_date,
    null::double as entry_odometer_km,
    without_nulls(t.reasons || [
        case
            when t.part_number is not null and known.part_number is null
                then 'part number "' || t.part_number || '" is not on record: load its row of a parts file first, or '
                    || 'correct it'
        end,
        case
            when t.on_hand < 0 then 'on hand "' || t.on_hand_written || '" is negative: it cannot be below zero'
        end,
        case
            when t.on_order < 0 then 'on order "' || t.on_order_written || '" is negative: it cannot be below zero'
        end
    ]) as reasons
from typed as t
left join (
    select distinct part_number
    from parts
    anti join superseded as gone on gone.table_name = 'parts' and gone.row_id = part_id
) as known on known.part_number = t.part_number
