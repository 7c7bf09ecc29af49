-- The visits that the rows taken in ask for and that are not in the store yet.
create or replace temp table new_visits as
with asked as (
    select
        c.vehicle_id,
        c.visit_date,
        c.visit_odometer_km,
        min(c.n) as first_n,
        min(c.source_row) as source_row,
        arg_min(c.odometer_written, c.n) filter (where c.odometer_km = c.visit_odometer_km) as odometer_written,
        arg_min(c.odometer_unit, c.n) filter (where c.odometer_km = c.visit_odometer_km) as odometer_unit,
        arg_min(c.shop, c.n) filter (where c.shop is not null) as shop,
        arg_min(c.technician, c.n) filter (where c.technician is not null) as technician
    from taken as c
    where c.visit_id is null
    group by c.vehicle_id, c.visit_date, c.visit_odometer_km
)
select asked.*, row_number() over (order by first_n) - 1 as place
from asked
