-- The rows of a vehicle, or one row of one table, as they would be written in a file, with where each came from, what it
-- supersedes, and what became of it. Of limits and parts, a vehicle has those of its model
-- or of any.
with units as (
    select vehicle_id, any_value(unit) as unit, list(distinct model) as models
    from vehicles
    group by vehicle_id
),

written as (
    select
        'vehicles' as table_name, v.vehicle_row_id as row_id, v.vehicle_id, v.valid_from as on_date, v.load_id,
        v.source_row, v.row_key,
        json_object(
            'unit', v.unit, 'model', v.model, 'make', v.make, 'year', v.model_year::varchar, 'vin', v.vin,
            'plate', v.plate, 'tyre size', v.tyre_size, 'owner', v.owner, 'duty', v.duty, 'depot', v.depot,
            'in service date', v.in_service_date::varchar, 'in service odometer', v.in_service_odometer_km || ' km',
            'weight class', v.weight_class,
            'distance source', v.distance_source, 'distance unit', v.distance_unit, 'play unit', v.play_unit,
            'valid from', v.valid_from::varchar
        )::varchar as cells
    from vehicles as v
    union all
    select
        'limits', li.limit_id, u.vehicle_id, li.valid_from, li.load_id, li.source_row, li.row_key,
        json_object(
            'model', li.model, 'kind', li.kind, 'place', li.place, 'direction', li.direction, 'method', li.method,
            'support', li.support, 'read at', li.read_at, 'limit', li.limit_written || ' ' || li.limit_unit, 'basis', li.basis,
            'source', li.source,
            'valid from', case when li.valid_from > date '1950-01-01' then li.valid_from::varchar end
        )::varchar
    from limits as li
    left join units as u on $vehicle_id = u.vehicle_id and (li.model is null or list_contains(u.models, li.model))
    union all
    select
        'odometer', o.odometer_id, o.vehicle_id, o.entry_date, o.load_id, o.source_row, o.row_key,
        json_object(
            'unit', u.unit, 'entry date', o.entry_date::varchar, 'odometer', o.odometer_km || ' km',
            'event', o.event, 'new odometer', o.new_odometer_km || ' km'
        )::varchar
    from odometer as o
    join units as u on u.vehicle_id = o.vehicle_id
    union all
    select
        'services', s.service_id, s.vehicle_id, s.done_date, s.load_id, s.source_row, s.row_key,
        json_object(
            'unit', u.unit, 'service date', s.done_date::varchar, 'odometer', s.done_odometer_km || ' km',
            'interval', s.interval_km || ' km', 'interval months', s.interval_months::varchar
        )::varchar
    from services as s
    join units as u on u.vehicle_id = s.vehicle_id
    union all
    select
        'visits', v.visit_id, v.vehicle_id, v.visit_date, v.load_id, v.source_row, v.row_key,
        json_object(
            'unit', u.unit, 'visit date', v.visit_date::varchar,
            'odometer', coalesce(v.odometer_written || ' ' || v.odometer_unit, v.odometer_km || ' km'),
            'shop', v.shop, 'technician', v.technician, 'complaint', v.complaint,
            'symptom confirmed', case v.symptom_confirmed when true then 'yes' when false then 'no' end,
            'symptom joint', p.joint, 'secured', v.secured, 'note', v.note
        )::varchar
    from visit_details as v
    join units as u on u.vehicle_id = v.vehicle_id
    left join positions as p on p.position_id = v.symptom_position_id
    union all
    select
        'readings', r.reading_id, r.vehicle_id, v.visit_date, r.load_id, r.source_row, r.row_key,
        json_object(
            'unit', u.unit, 'visit date', v.visit_date::varchar,
            'odometer', coalesce(v.odometer_written || ' ' || v.odometer_unit, v.odometer_km || ' km'),
            'technician', r.technician, 'joint', p.joint, 'direction', r.direction, 'method', r.method,
            'support', r.support, 'read at', r.read_at, 'indicator', r.indicator, 'instrument', r.instrument,
            'session', r.session::varchar,
            'stroke', r.stroke::varchar, 'timing', r.timing, 'result', r.result,
            'play', r.play_written || ' ' || r.play_unit, 'resolution', r.resolution_mm || ' mm'
        )::varchar
    from readings as r
    join visits as v on v.visit_id = r.visit_id
    join positions as p on p.position_id = r.position_id
    join units as u on u.vehicle_id = r.vehicle_id
    union all
    select
        'work', w.work_id, w.vehicle_id, w.work_date, w.load_id, w.source_row, w.row_key,
        json_object(
            'unit', u.unit, 'work date', w.work_date::varchar, 'odometer', w.odometer_km || ' km', 'joint', p.joint,
            'work', w.work, 'part number', w.part_number, 'supplier', w.supplier, 'reason', w.reason
        )::varchar
    from work as w
    join positions as p on p.position_id = w.position_id
    join units as u on u.vehicle_id = w.vehicle_id
    union all
    select
        'parts', a.part_id, u.vehicle_id, null::date, a.load_id, a.source_row, a.row_key,
        json_object(
            'part number', a.part_number, 'model', a.model, 'kind', a.kind, 'place', a.place, 'supplier', a.supplier,
            'cost', a.cost::varchar, 'lead days', a.lead_days::varchar, 'labour hours', a.labour_hours::varchar,
            'alignment after', case a.alignment_after when true then 'yes' when false then 'no' end,
            'superseded by', a.superseded_by,
            'ordered in pairs', case a.ordered_in_pairs when true then 'yes' when false then 'no' end,
            'pieces per joint', a.pieces_per_joint::varchar
        )::varchar
    from parts as a
    left join units as u on $vehicle_id = u.vehicle_id and (a.model is null or list_contains(u.models, a.model))
)

select
    w.table_name,
    w.row_id,
    w.on_date,
    w.cells,
    w.row_key,
    l.file_name,
    w.source_row,
    l.loaded_at,
    after.action as became,
    after.new_row_id,
    after.why as became_why,
    after.corrected_by as became_by,
    after.corrected_at as became_at,
    before.row_id as supersedes,
    before.action as came_as,
    before.changes,
    before.why,
    before.corrected_by as said_by,
    before.corrected_at as said_at,
    n.row_id is not null and after.correction_id is null as is_set_aside
from written as w
join loads as l on l.load_id = w.load_id
left join (select c.* from corrections as c semi join superseded as s on s.correction_id = c.correction_id) as after
    on after.table_name = w.table_name and after.row_id = w.row_id
left join corrections as before on before.table_name = w.table_name and before.new_row_id = w.row_id
left join not_counting as n on n.table_name = w.table_name and n.row_id = w.row_id
where ($table_name is null or w.table_name = $table_name)
    and ($row_id is null or w.row_id = $row_id)
    and ($vehicle_id is null or w.vehicle_id = $vehicle_id)
order by w.on_date, w.table_name, w.row_id, before.correction_id
