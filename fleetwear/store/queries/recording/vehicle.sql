-- A vehicle as it is on a day: the latest version that has begun, or else its first.
select
    v.vehicle_id,
    v.unit,
    v.vin,
    v.plate,
    v.make,
    v.model,
    v.depot,
    v.distance_source,
    v.distance_unit,
    v.play_unit
from vehicles as v
anti join not_counting as gone on gone.table_name = 'vehicles' and gone.row_id = v.vehicle_row_id
where v.vehicle_id = $vehicle_id
order by v.valid_from <= $on_date desc,
    case when v.valid_from <= $on_date then v.valid_from end desc,
    v.valid_from,
    v.vehicle_row_id desc
limit 1
