-- Every reading of a vehicle, newest first, with the limit that was valid on its day (indicative where it is stated for
-- another way of measuring) and what the fit says of readings that do not fit their joint's history;
-- needs the tables of known/.
with limit_then as (
    select r.reading_id, li.limit_mm, li.source, li.method, li.support, li.read_at
    from known_readings as r
    join known_vehicles as kv on kv.vehicle_id = r.vehicle_id
    join positions as p on p.position_id = r.position_id
    join known_limits as li
        on li.kind = p.kind
        and (li.model is null or li.model = kv.model)
        and (li.place is null or li.place = p.place)
        and (li.direction is null or li.direction = r.direction)
        and li.valid_from <= r.visit_date
    where r.vehicle_id = $vehicle_id and r.result = 'measured'
    qualify row_number() over (
        partition by r.reading_id
        order by
            (li.model is not null)::int * 4 + (li.place is not null)::int * 2 + (li.direction is not null)::int desc,
            case when li.method = r.method then 2 when li.method is null then 1 else 0 end desc,
            case when li.read_at = r.read_at then 2 when li.read_at is null then 1 else 0 end desc,
            case when li.support = r.support then 2 when li.support is null then 1 else 0 end desc,
            li.valid_from desc,
            li.limit_id desc
    ) = 1
)

select
    r.reading_id,
    r.visit_id,
    r.visit_date,
    r.odometer_km,
    r.running_km,
    r.position_id,
    p.joint,
    r.direction,
    r.life_no,
    r.running_km - l.start_km as life_distance_km,
    r.timing,
    r.session,
    r.stroke,
    r.method,
    r.support,
    r.read_at,
    r.indicator,
    r.result,
    r.play_mm,
    r.play_written,
    r.play_unit,
    r.question_state,
    r.question,
    s.expected_mm,
    s.p_slipped,
    t.limit_mm,
    t.source as limit_source,
    r.play_mm > t.limit_mm * (1 + 1e-9) as is_over,
    coalesce(
        (t.method is not null and t.method is distinct from r.method)
        or (t.read_at is not null and t.read_at is distinct from r.read_at)
        or (t.support is not null and t.support is distinct from r.support),
        false
    ) as is_indicative
from known_readings as r
join positions as p on p.position_id = r.position_id
join known_lives as l
    on l.vehicle_id = r.vehicle_id and l.position_id = r.position_id and l.life_no = r.life_no
left join limit_then as t on t.reading_id = r.reading_id
left join fit_slips as s
    on s.fit_id = $fit_id
    and s.vehicle_id = r.vehicle_id
    and s.position_id = r.position_id
    and s.life_no = r.life_no
    and s.direction = r.direction
    and s.visit_id = r.visit_id
    and s.timing = r.timing
    and r.result = 'measured'
where r.vehicle_id = $vehicle_id
order by r.visit_date desc, p.position_id, r.direction, r.timing, r.session, r.stroke
