with described as (
    select v.*
    from vehicles as v
    join loads as l on l.load_id = v.load_id
    join forecasts as f
        on f.forecast_id = $forecast_id and (f.known_by is null or l.loaded_at <= f.known_by)
    where not exists (
        select 1
        from corrections as c
        join loads as cl on cl.load_id = c.load_id
        where c.table_name = 'vehicles' and c.row_id = v.vehicle_row_id
            and (f.known_by is null or cl.loaded_at <= f.known_by)
    )
    qualify row_number() over (
        partition by v.vehicle_id
        order by v.valid_from <= f.as_of desc,
            case when v.valid_from <= f.as_of then v.valid_from end desc,
            v.valid_from,
            v.vehicle_row_id desc
    ) = 1
)

select
    fv.*,
    d.unit,
    d.vin,
    d.plate,
    d.make,
    d.model,
    d.model_year,
    d.tyre_size,
    d.owner,
    d.duty,
    d.play_unit,
    d.distance_unit,
    d.distance_source
from forecast_vehicles as fv
join described as d on d.vehicle_id = fv.vehicle_id
where fv.forecast_id = $forecast_id and ($unit is null or d.unit = $unit)
order by d.unit
