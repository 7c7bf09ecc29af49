-- Every current series that can be a case at the moment (its last measured reading within the limit that holds then),
-- with what became of it afterwards: read again, replaced or adjusted without being read, or neither so far.
-- forecast_facts is what forecast/forecast_facts.sql gave; record_readings and record_lives are those of the whole record. Series have
-- other numbers at other moments, so these are joined by what a series is: vehicle, position, life, direction.
with following as (
    select
        r.vehicle_id,
        r.position_id,
        r.life_no,
        r.direction,
        r.visit_date,
        r.life_distance_km,
        r.play_mm,
        r.way
    from record_readings as r
    join known_moment as m on r.visit_date > m.as_of
    qualify row_number() over (
        partition by r.vehicle_id, r.position_id, r.life_no, r.direction
        order by r.visit_date, r.life_distance_km, r.visit_id
    ) = 1
),

last_measured as (
    select vehicle_id, position_id, life_no, direction, life_distance_km
    from known_series_visits
    where result = 'measured'
    qualify row_number() over (
        partition by vehicle_id, position_id, life_no, direction
        order by visit_date desc, running_km desc, timing
    ) = 1
)

select
    f.series,
    f.vehicle_id,
    f.position_id,
    f.life_no,
    f.direction,
    f.kind,
    f.measured_date as last_date,
    f.last_play_mm as last_mm,
    b.life_distance_km as last_distance_km,
    f.limit_mm,
    n.visit_date as next_date,
    n.life_distance_km as next_distance_km,
    n.play_mm as observed_mm,
    n.way,
    l.end_distance_km,
    case
        when n.visit_date is not null then 'read'
        when l.end_date is not null then 'replaced'
        else 'waiting'
    end as fate
from forecast_facts as f
join last_measured as b
    on b.vehicle_id = f.vehicle_id
    and b.position_id = f.position_id
    and b.life_no = f.life_no
    and b.direction = f.direction
left join following as n
    on n.vehicle_id = f.vehicle_id
    and n.position_id = f.position_id
    and n.life_no = f.life_no
    and n.direction = f.direction
left join record_lives as l
    on l.vehicle_id = f.vehicle_id and l.position_id = f.position_id and l.life_no = f.life_no
where f.limit_mm is not null and f.last_largest_mm <= f.limit_mm * (1 + $equal)
order by f.series
