-- One row is one part from when it was fitted or last adjusted: the farthest inspection before its first reading over a
-- limit (lower_km, 0 if there is none) and that reading (upper_km, null if there is none). A visit is over where any load
-- direction that was tested shows more than the limit that applies to it, as it stands at the moment; it is under where
-- none does. Seeing no play counts as under where the limit lies above $surely_seen_mm; play that was seen but not
-- measured counts as nothing, and so do readings that have probably slipped. Needs known/ and trend_series.
with ways as (
    select distinct s.model, s.kind, p.place, r.direction, r.method, r.read_at
    from known_series_visits as r
    join trend_series as s
        on s.vehicle_id = r.vehicle_id
        and s.position_id = r.position_id
        and s.life_no = r.life_no
        and s.direction = r.direction
    join positions as p on p.position_id = r.position_id
),

limits_of_ways as (
    select w.*, li.limit_mm, li.source
    from ways as w
    cross join known_moment as m
    join known_limits as li
        on li.kind = w.kind
        and (li.model is null or li.model = w.model)
        and (li.place is null or li.place = w.place)
        and (li.direction is null or li.direction = w.direction)
        and li.valid_from <= m.as_of
    qualify row_number() over (
        partition by w.model, w.kind, w.place, w.direction, w.method, w.read_at
        order by
            (li.model is not null)::int * 4 + (li.place is not null)::int * 2 + (li.direction is not null)::int desc,
            case when li.method = w.method then 2 when li.method is null then 1 else 0 end desc,
            case when li.read_at = w.read_at then 2 when li.read_at is null then 1 else 0 end desc,
            li.valid_from desc,
            li.limit_id desc
    ) = 1
),

looks as (
    select
        r.vehicle_id,
        r.position_id,
        r.life_no,
        r.life_distance_km as km,
        case
            when r.result = 'measured' then r.largest_mm > l.limit_mm
            when r.result = 'none seen' and l.limit_mm >= $surely_seen_mm then false
        end as over,
        l.limit_mm,
        l.source,
        s.life,
        s.kind,
        s.model,
        s.depot,
        s.duty,
        s.supplier
    from known_series_visits as r
    join trend_series as s
        on s.vehicle_id = r.vehicle_id
        and s.position_id = r.position_id
        and s.life_no = r.life_no
        and s.direction = r.direction
    join positions as p on p.position_id = r.position_id
    join limits_of_ways as l
        on l.model = s.model
        and l.kind = s.kind
        and l.place is not distinct from p.place
        and l.direction = r.direction
        and l.method is not distinct from r.method
        and l.read_at is not distinct from r.read_at
    anti join fit_slips as f
        on f.fit_id = $fit_id
        and f.vehicle_id = r.vehicle_id
        and f.position_id = r.position_id
        and f.life_no = r.life_no
        and f.direction = r.direction
        and f.visit_id = r.visit_id
        and f.timing = r.timing
        and f.p_slipped > 0.5
),

crossed as (
    select *, min(km) filter (where over) over (partition by vehicle_id, position_id, life_no) as upper_km
    from looks
    where over is not null
)

select
    c.vehicle_id,
    c.position_id,
    c.life_no,
    any_value(c.kind) as kind,
    arg_min(c.model, c.life) as model,
    arg_min(c.depot, c.life) as depot,
    arg_min(c.duty, c.life) as duty,
    arg_min(c.supplier, c.life) as supplier,
    min(c.limit_mm) as least_limit_mm,
    max(c.limit_mm) as greatest_limit_mm,
    arg_min(c.source, c.limit_mm) as limit_source,
    count(distinct c.km)::integer as n_looks,
    coalesce(max(c.km) filter (where not c.over and (c.upper_km is null or c.km < c.upper_km)), 0.0) as lower_km,
    any_value(c.upper_km) as upper_km,
    any_value(not l.is_current) as has_ended
from crossed as c
join known_lives as l
    on l.vehicle_id = c.vehicle_id and l.position_id = c.position_id and l.life_no = c.life_no
group by c.vehicle_id, c.position_id, c.life_no
order by c.vehicle_id, c.position_id, c.life_no
