-- Odometers that were swapped: from then on the instrument shows less by shift_km than the vehicle has run.
create or replace temp table known_swaps as
select
    o.vehicle_id,
    o.entry_date,
    o.odometer_km as old_km,
    o.new_odometer_km as new_km,
    o.odometer_km - o.new_odometer_km as shift_km
from odometer as o
join known_loads using (load_id), known_moment as m
where o.event = 'swap'
    and o.entry_date <= m.as_of
    and not exists (
        select 1 from known_set_aside as a where a.table_name = 'odometer' and a.row_id = o.odometer_id
    )
