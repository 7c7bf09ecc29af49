select
    t.n,
    t.source_row,
    t.quarantine_number as settles,
    s.vehicle_id,
    p.position_id,
    t.work_date,
    t.odometer as odometer_km,
    t.work,
    t.part_number,
    t.supplier,
    t.reason,
    to_json([
        s.vehicle_id::varchar, p.position_id::varchar, t.work_date::varchar, round(t.odometer, 6)::varchar, t.work,
        t.part_number, t.supplier, t.reason
    ])::varchar as content,
    s.vehicle_id as entry_vehicle_id,
    t.work_date as entry_date,
    t.odometer as entry_odometer_km,
    without_nulls(t.reasons || [
        case when t.unit is not null and known.unit_key is null then unknown_vehicle(t.unit, near.nearest) end,
        case
            when t.joint is not null and s.vehicle_id is not null and p.position_id is null
                then unknown_joint(t.joint, s.model, near_joint.nearest)
        end
    ]) as reasons
from typed as t
left join (select distinct unit_key from vehicle_spans) as known on known.unit_key = t.unit_key
left join nearest_vehicles as near on near.unit_key = t.unit_key
left join vehicle_spans as s
    on s.unit_key = t.unit_key and t.work_date >= s.from_date and t.work_date < s.until_date
left join joint_names as p on p.model = s.model and p.joint_key = t.joint_key
left join nearest_joints as near_joint
    on near_joint.model = s.model and near_joint.joint_key = t.joint_key
