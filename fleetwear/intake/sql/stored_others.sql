-- The rows found out in the other tables, as they would be written.
select t.table_name, t.row_id, l.file_name, l.sheet, l.table_name as file_table, t.source_row, t.cells
from (
    select
        'work' as table_name, w.work_id as row_id, w.load_id, w.source_row,
        json_object(
            'unit', u.unit, 'work date', w.work_date::varchar, 'odometer', w.odometer_km || ' km', 'joint', p.joint,
            'work', w.work, 'part number', w.part_number, 'supplier', w.supplier, 'reason', w.reason
        )::varchar as cells
    from work as w
    inner join positions as p on p.position_id = w.position_id
    inner join (select vehicle_id, any_value(unit) as unit from vehicles group by vehicle_id) as u
        on u.vehicle_id = w.vehicle_id
    union all
    select
        'services', s.service_id, s.load_id, s.source_row,
        json_object(
            'unit', u.unit, 'service date', s.done_date::varchar, 'odometer', s.done_odometer_km || ' km',
            'interval', s.interval_km || ' km', 'interval months', s.interval_months::varchar
        )::varchar
    from services as s
    inner join (select vehicle_id, any_value(unit) as unit from vehicles group by vehicle_id) as u
        on u.vehicle_id = s.vehicle_id
    union all
    select
        'odometer', o.odometer_id, o.load_id, o.source_row,
        json_object(
            'unit', u.unit, 'entry date', o.entry_date::varchar, 'odometer', o.odometer_km || ' km',
            'event', o.event, 'new odometer', o.new_odometer_km || ' km'
        )::varchar
    from odometer as o
    inner join (select vehicle_id, any_value(unit) as unit from vehicles group by vehicle_id) as u
        on u.vehicle_id = o.vehicle_id
    union all
    select
        'vehicles', v.vehicle_row_id, v.load_id, v.source_row,
        json_object(
            'unit', v.unit, 'model', v.model, 'in service date', v.in_service_date::varchar,
            'in service odometer', v.in_service_odometer_km || ' km', 'valid from', v.valid_from::varchar
        )::varchar
    from vehicles as v
) as t
inner join found_out as f on f.table_name = t.table_name and f.row_id = t.row_id
inner join loads as l on l.load_id = t.load_id
order by t.table_name, t.row_id
