with meant as (
    select
        t.n,
        t.source_row,
        t.quarantine_number as settles,
        s.vehicle_id,
        s.model,
        s.distance_source,
        t.visit_date,
        t.odometer as odometer_km,
        t.odometer_number as odometer_written,
        t.odometer_unit_spelt as odometer_unit,
        t.shop,
        t.technician,
        p.position_id,
        t.direction,
        t.method,
        t.support,
        t.read_at,
        t.indicator,
        t.instrument,
        t.session,
        t.stroke,
        coalesce(t.timing, 'before work') as timing,
        coalesce(t.result, t.play_result, 'measured') as result,
        case when coalesce(t.result, t.play_result, 'measured') = 'measured' then t.play end as play_mm,
        t.play_number as play_written,
        case when t.play_number is not null then t.play_unit_spelt end as play_unit,
        t.resolution as resolution_mm,
        t.reasons,
        case
            when t.unit is not null and known.unit_key is null then unknown_vehicle(t.unit, near.nearest)
        end as of_vehicle,
        case
            when t.joint is not null and s.vehicle_id is not null and p.position_id is null
                then unknown_joint(t.joint, s.model, near_joint.nearest)
        end as of_joint,
        case
            when t.play_written is null and t.result_written is null
                then 'there is neither play nor result: write the play, or "none seen" as the result'
            when t.result = 'measured' and (t.play_written is null or t.play_result is not null)
                then 'the result is measured but there is no play: write the play with its unit'
            when t.result <> t.play_result
                then 'the result is "' || t.result || '" but the play says "' || t.play_result || '": keep one'
            when t.result = 'none seen' and t.play > 0
                then 'the result is "none seen" but the play is "' || t.play_written || '": keep one'
            when t.result = 'seen, not measured' and t.play_number is not null
                then 'the result is "seen, not measured" but the play is "' || t.play_written || '": keep one'
        end as of_play,
        case
            when t.session < 1 then 'session "' || t.session_written || '" is below 1: sessions count from 1'
        end as of_session,
        case
            when t.stroke < 1 then 'stroke "' || t.stroke_written || '" is below 1: strokes count from 1'
        end as of_stroke
    from typed as t
    left join (select distinct unit_key from vehicle_spans) as known on known.unit_key = t.unit_key
    left join nearest_vehicles as near on near.unit_key = t.unit_key
    left join vehicle_spans as s
        on s.unit_key = t.unit_key and t.visit_date >= s.from_date and t.visit_date < s.until_date
    left join joint_names as p on p.model = s.model and p.joint_key = t.joint_key
    left join nearest_joints as near_joint
        on near_joint.model = s.model and near_joint.joint_key = t.joint_key
)

select
    * exclude (reasons, of_vehicle, of_joint, of_play, of_session, of_stroke),
    case
        when len(reasons) = 0 and coalesce(of_vehicle, of_joint, of_play, of_session, of_stroke) is null then reasons
        else without_nulls(reasons || [of_vehicle, of_joint, of_play, of_session, of_stroke])
    end as reasons
from meant
