with axles as (
    select model, lower(axle) as axle_key, min(axle) as axle
    from positions
    group by model, lower(axle)
),

listed as (
    select model, string_agg('"' || axle || '"', ', ' order by axle) as axles
    from axles
    group by model
)

select
    t.n,
    t.source_row,
    t.quarantine_number as settles,
    s.vehicle_id,
    s.distance_source,
    t.visit_date,
    t.odometer as odometer_km,
    t.odometer_number as odometer_written,
    t.odometer_unit_spelt as odometer_unit,
    t.shop,
    t.technician,
    axles.axle,
    t.side,
    t.wheel_part,
    t.direction,
    t.method,
    t.support,
    t.read_at,
    t.bearings_adjusted,
    t.bead_inches as bead_diameter_in,
    coalesce(t.result, t.play_result, 'measured') as result,
    case when coalesce(t.result, t.play_result, 'measured') = 'measured' then t.play end as play_mm,
    t.play_number as play_written,
    case when t.play_number is not null then t.play_unit_spelt end as play_unit,
    without_nulls(t.reasons || [
        case when t.unit is not null and known.unit_key is null then unknown_vehicle(t.unit, near.nearest) end,
        case
            when t.axle is not null and s.vehicle_id is not null and axles.axle is null
                then '"' || t.axle || '" is not an axle of model "' || s.model || '"'
                    || coalesce('; its positions name ' || listed.axles, '; no position of it is on record')
                    || ': correct it, or load the positions first'
        end,
        case
            when t.bead_inches < 8 or t.bead_inches > 63
                then 'bead inches "' || t.bead_inches_written || '" cannot be right: write the nominal rim '
                    || 'diameter in inches, like 22.5'
        end,
        case
            when t.play_written is null and t.result_written is null
                then 'there is neither play nor result: write the play, or "none seen" as the result'
            when t.result = 'measured' and (t.play_written is null or t.play_result is not null)
                then 'the result is measured but there is no play: write the play with its unit'
            when t.result <> t.play_result
                then 'the result is "' || t.result || '" but the play says "' || t.play_result || '": keep one'
            when t.result <> 'measured' and t.play_number is not null and t.play > 0
                then 'the result is "' || t.result || '" but the play is "' || t.play_written || '": keep one'
        end
    ]) as reasons
from typed as t
left join (select distinct unit_key from vehicle_spans) as known on known.unit_key = t.unit_key
left join nearest_vehicles as near on near.unit_key = t.unit_key
left join vehicle_spans as s
    on s.unit_key = t.unit_key and t.visit_date >= s.from_date and t.visit_date < s.until_date
left join axles on axles.model = s.model and axles.axle_key = lower(t.axle)
left join listed on listed.model = s.model
