-- What files brought of the visits found out: the rows that spoke of them, and their readings, as they would be
-- written.
select
    f.row_id as visit_id,
    'visit_notes' as table_name,
    t.visit_note_id as row_id,
    l.file_name,
    l.sheet,
    l.table_name as file_table,
    t.source_row,
    t.load_id = v.load_id and t.source_row = v.source_row as brought_visit,
    json_object(
        'unit', u.unit, 'visit date', v.visit_date::varchar,
        'odometer', v.odometer_written || ' ' || v.odometer_unit, 'shop', t.shop, 'technician', t.technician,
        'complaint', t.complaint,
        'symptom confirmed', case t.symptom_confirmed when true then 'yes' when false then 'no' end,
        'symptom joint', p.joint, 'secured', t.secured, 'note', t.note
    )::varchar as cells
from found_out as f
inner join visits as v on v.visit_id = f.row_id
inner join visit_notes as t on t.visit_id = v.visit_id
inner join loads as l on l.load_id = t.load_id
left join positions as p on p.position_id = t.symptom_position_id
inner join (select vehicle_id, any_value(unit) as unit from vehicles group by vehicle_id) as u
    on u.vehicle_id = v.vehicle_id
where f.table_name = 'visits'
union all
select
    f.row_id,
    'readings',
    t.reading_id,
    l.file_name,
    l.sheet,
    l.table_name,
    t.source_row,
    t.load_id = v.load_id and t.source_row = v.source_row,
    json_object(
        'unit', u.unit, 'visit date', v.visit_date::varchar,
        'odometer', v.odometer_written || ' ' || v.odometer_unit, 'shop', v.shop, 'technician', t.technician,
        'joint', p.joint, 'direction', t.direction, 'method', t.method, 'support', t.support, 'read at', t.read_at,
        'indicator', t.indicator, 'instrument', t.instrument, 'session', t.session::varchar,
        'stroke', t.stroke::varchar, 'timing', t.timing,
        'result', t.result, 'play', t.play_written || ' ' || t.play_unit
    )::varchar
from found_out as f
inner join visits as v on v.visit_id = f.row_id
inner join readings as t on t.visit_id = v.visit_id
inner join loads as l on l.load_id = t.load_id
inner join positions as p on p.position_id = t.position_id
inner join (select vehicle_id, any_value(unit) as unit from vehicles group by vehicle_id) as u
    on u.vehicle_id = v.vehicle_id
where f.table_name = 'visits'
union all
select
    f.row_id,
    'wheel_checks',
    t.wheel_check_id,
    l.file_name,
    l.sheet,
    l.table_name,
    t.source_row,
    t.load_id = v.load_id and t.source_row = v.source_row,
    json_object(
        'unit', u.unit, 'visit date', v.visit_date::varchar,
        'odometer', v.odometer_written || ' ' || v.odometer_unit, 'shop', v.shop, 'technician', t.technician,
        'axle', t.axle, 'side', t.side, 'wheel part', t.wheel_part, 'direction', t.direction, 'method', t.method,
        'support', t.support, 'read at', t.read_at,
        'bearings adjusted', case t.bearings_adjusted when true then 'yes' when false then 'no' end,
        'bead inches', t.bead_diameter_in::varchar, 'result', t.result, 'play', t.play_written || ' ' || t.play_unit
    )::varchar
from found_out as f
inner join visits as v on v.visit_id = f.row_id
inner join wheel_checks as t on t.visit_id = v.visit_id
inner join loads as l on l.load_id = t.load_id
inner join (select vehicle_id, any_value(unit) as unit from vehicles group by vehicle_id) as u
    on u.vehicle_id = v.vehicle_id
where f.table_name = 'visits'
order by 1, 2, 3
