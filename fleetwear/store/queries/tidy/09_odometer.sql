select
    v.unit,
    v.depot,
    e.entry_date,
    e.table_name as from_table,
    e.row_id as from_row,
    e.odometer_km,
    e.running_km as distance_run_km,
    o.event = 'swap' as instrument_swapped,
    o.new_odometer_km,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from known.known_entries as e
join known.known_vehicles as v on v.vehicle_id = e.vehicle_id
cross join tidy.about as a
left join main.odometer as o on e.table_name = 'odometer' and o.odometer_id = e.row_id
