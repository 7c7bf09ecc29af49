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
    t.complaint,
    t.symptom_confirmed,
    p.position_id as symptom_position_id,
    t.secured,
    t.note,
    without_nulls(t.reasons || [
        case when t.unit is not null and known.unit_key is null then unknown_vehicle(t.unit, near.nearest) end,
        case
            when t.symptom_joint is not null and s.vehicle_id is not null and p.position_id is null
                then unknown_joint(t.symptom_joint, s.model, near_joint.nearest)
        end,
        case
            when t.odometer_written is null and s.distance_source <> 'none'
                then 'odometer is empty: write the ' || s.distance_source || ' value read at that visit, or the '
                    || 'nearest known one from an odometer file; distance source none is only for a vehicle that '
                    || 'has no ' || s.distance_source
        end
    ]) as reasons
from typed as t
left join (select distinct unit_key from vehicle_spans) as known on known.unit_key = t.unit_key
left join nearest_vehicles as near on near.unit_key = t.unit_key
left join vehicle_spans as s
    on s.unit_key = t.unit_key and t.visit_date >= s.from_date and t.visit_date < s.until_date
left join joint_names as p on p.model = s.model and p.joint_key = t.symptom_joint_key
left join nearest_joints as near_joint
    on near_joint.model = s.model and near_joint.joint_key = t.symptom_joint_key
