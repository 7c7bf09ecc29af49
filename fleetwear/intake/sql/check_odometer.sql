select
    t.n,
    t.source_row,
    t.quarantine_number as settles,
    s.vehicle_id,
    t.entry_date as on_date,
    t.odometer as odometer_km,
    coalesce(t.event, 'reading') as event,
    t.new_odometer as new_odometer_km,
    to_json([
        s.vehicle_id::varchar, t.entry_date::varchar, round(t.odometer, 6)::varchar,
        coalesce(t.event, 'reading'), round(t.new_odometer, 6)::varchar
    ])::varchar as content,
    s.vehicle_id as entry_vehicle_id,
    t.entry_date as entry_date,
    t.odometer as entry_odometer_km,
    without_nulls(t.reasons || [
        case when t.unit is not null and known.unit_key is null then unknown_vehicle(t.unit, near.nearest) end,
        case
            when t.event = 'swap' and t.new_odometer_written is null
                then 'a swap needs the new odometer: write what the new instrument showed first'
        end,
        case
            when coalesce(t.event, 'reading') <> 'swap' and t.new_odometer_written is not null
                and (t.event_written is null or t.event is not null)
                then 'there is a new odometer "' || t.new_odometer_written || '" but the event is no swap: '
                    || 'write swap as the event, or leave the new odometer empty'
        end
    ]) as reasons
from typed as t
left join (select distinct unit_key from vehicle_spans) as known on known.unit_key = t.unit_key
left join nearest_vehicles as near on near.unit_key = t.unit_key
left join vehicle_spans as s
    on s.unit_key = t.unit_key and t.entry_date >= s.from_date and t.entry_date < s.until_date
