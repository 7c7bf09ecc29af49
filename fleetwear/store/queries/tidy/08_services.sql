select
    s.service_id,
    v.unit,
    v.depot,
    s.done_date,
    s.done_odometer_km as odometer_km,
    s.interval_km,
    s.interval_months,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from main.services as s
join known.known_loads as l on l.load_id = s.load_id
join known.known_vehicles as v on v.vehicle_id = s.vehicle_id
cross join tidy.about as a
anti join known.known_set_aside as b on b.table_name = 'services' and b.row_id = s.service_id
where s.done_date <= a.as_of
