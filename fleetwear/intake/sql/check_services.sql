select
    t.n,
    t.source_row,
    t.quarantine_number as settles,
    s.vehicle_id,
    t.service_date,
    t.odometer as odometer_km,
    t."interval" as interval_km,
    t.interval_months,
    to_json([
        s.vehicle_id::varchar, t.service_date::varchar, round(t.odometer, 6)::varchar,
        round(t."interval", 6)::varchar, t.interval_months::varchar
    ])::varchar as content,
    s.vehicle_id as entry_vehicle_id,
    t.service_date as entry_date,
    t.odometer as entry_odometer_km,
    without_nulls(t.reasons || [
        case when t.unit is not null and known.unit_key is null then unknown_vehicle(t.unit, near.nearest) end,
        case
            when t.interval_written is null and t.interval_months_written is null
                then 'there is neither an interval nor interval months: give the distance or the time '
                    || 'to the next service, or both'
        end,
        case
            when t.interval_months <= 0
                then 'interval months "' || t.interval_months_written || '" must be above zero'
        end
    ]) as reasons
from typed as t
left join (select distinct unit_key from vehicle_spans) as known on known.unit_key = t.unit_key
left join nearest_vehicles as near on near.unit_key = t.unit_key
left join vehicle_spans as s
    on s.unit_key = t.unit_key and t.service_date >= s.from_date and t.service_date < s.until_date
