-- What this load says of vehicles that the store did not know so: a unit number that another vehicle had before, a vehicle
-- that had another unit number before, or that changed depot; and the identification number that says so.
with ordered as (
    select
        v.load_id,
        v.vehicle_row_id,
        v.vehicle_id,
        v.unit,
        v.vin,
        v.depot,
        v.valid_from,
        lag(v.unit) over of_vehicle as unit_before,
        lag(v.depot) over of_vehicle as depot_before,
        lag(v.vehicle_id) over of_unit as vehicle_before,
        lag(v.vin ignore nulls) over of_unit as vin_before
    from vehicles as v
    window
        of_vehicle as (partition by v.vehicle_id order by v.valid_from, v.vehicle_row_id),
        of_unit as (partition by lower(v.unit) order by v.valid_from, v.vehicle_row_id)
)
select
    unit, vin, depot, valid_from, unit_before, depot_before, vin_before,
    vehicle_before <> vehicle_id as is_other_vehicle,
    lower(unit_before) <> lower(unit) as has_other_unit,
    depot_before <> depot as has_other_depot,
    vehicle_before = vehicle_id and vin_of(vin) <> vin_of(vin_before) as is_slip
from ordered
where load_id = $load_id
order by vehicle_row_id
