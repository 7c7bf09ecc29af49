-- One row is one series to be fitted or forecast: every series that was ever read, and, for each current life,
-- every load direction that tests its kind. wanted_directions (kind, direction) is registered by the caller.
create or replace temp table fit_input_series as
with read as (
    select distinct vehicle_id, position_id, life_no, direction
    from known_series_visits
),

wanted as (
    select l.vehicle_id, l.position_id, l.life_no, w.direction
    from known_lives as l
    join positions as p on p.position_id = l.position_id
    join wanted_directions as w on w.kind = p.kind
    where l.is_current
)

select
    row_number() over (order by v.unit, p.position_id, s.life_no, s.direction) - 1 as series,
    s.vehicle_id,
    s.position_id,
    s.life_no,
    s.direction,
    p.kind,
    concat_ws('/', p.kind, s.direction, replace(v.model, '/', '-'), replace(v.duty, '/', '-')) as cohort,
    l.origin,
    l.is_current,
    st.start_km as earlier_km_at_most
from (select * from read union select * from wanted) as s
join positions as p on p.position_id = s.position_id
join known_vehicles as v on v.vehicle_id = s.vehicle_id
join known_lives as l
    on l.vehicle_id = s.vehicle_id and l.position_id = s.position_id and l.life_no = s.life_no
join known_starts as st on st.vehicle_id = s.vehicle_id
