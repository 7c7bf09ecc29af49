-- What a fit says of each current series, numbered as fit_input_series on this connection.
create or replace temp table forecast_series as
select
    s.series,
    f.whose_line,
    f.model_group,
    f.effect,
    f.reliability,
    f.last_expected_mm,
    f.last_z,
    f.fell_after,
    f.fell_on,
    f.fell_from_mm,
    f.fell_to_mm,
    f.doubt
from fit_series as f
join fit_input_series as s
    on s.vehicle_id = f.vehicle_id
    and s.position_id = f.position_id
    and s.life_no = f.life_no
    and s.direction = f.direction
where f.fit_id = $fit_id and s.is_current
