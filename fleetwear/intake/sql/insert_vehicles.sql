insert into vehicles (
    vehicle_row_id, vehicle_id, unit, valid_from, vin, plate, make, model, model_year, tyre_size, weight_class, owner, duty,
    depot, in_service_date, in_service_odometer_km, distance_source, distance_unit, play_unit, load_id, source_row, row_key
)
with good as (
    select c.*, min(c.n) over (partition by c.identity) as first_n
    from taken as c
),
spelt as (
    select unit_key, any_value(unit) as unit
    from vehicle_spans
    group by unit_key
)
select
    $first_id + row_number() over (order by g.n) - 1,
    coalesce(
        g.vehicle_id,
        (select coalesce(max(v.vehicle_id), 0) from vehicles as v)
        + dense_rank() over (order by g.vehicle_id is not null, g.first_n)
    ),
    coalesce(spelt.unit, first_value(g.unit) over (partition by g.unit_key order by g.n)),
    g.from_date,
    g.vin,
    g.plate,
    g.make,
    g.model,
    g.year,
    g.tyre_size,
    g.weight_class,
    g.owner,
    g.duty,
    g.depot,
    g.in_service_date,
    g.in_service_odometer,
    g.distance_source,
    g.distance_unit,
    g.play_unit,
    $load_id,
    g.source_row,
    g.row_key
from good as g
left join spelt on spelt.unit_key = g.unit_key
order by g.n
