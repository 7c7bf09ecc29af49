-- One row is one life in one load direction with the level of each factor, how far it had run when it was last read, and
-- from how many visits it is known. Needs the tables of known/ and of effects/lives with every result.
create or replace temp table trend_series as
with read as (
    select
        vehicle_id,
        position_id,
        life_no,
        direction,
        max(life_distance_km) as read_km,
        count(distinct visit_id) as n_visits
    from known_series_visits
    group by vehicle_id, position_id, life_no, direction
)

select
    l.life,
    l.vehicle_id,
    l.position_id,
    l.life_no,
    l.direction,
    l.kind,
    l.model,
    l.depot,
    l.duty,
    l.supplier,
    f.cohort,
    f.doubt,
    r.read_km,
    r.n_visits
from effect_lives as l
join fit_series as f
    on f.fit_id = $fit_id
    and f.vehicle_id = l.vehicle_id
    and f.position_id = l.position_id
    and f.life_no = l.life_no
    and f.direction = l.direction
join read as r
    on r.vehicle_id = l.vehicle_id
    and r.position_id = l.position_id
    and r.life_no = l.life_no
    and r.direction = l.direction
