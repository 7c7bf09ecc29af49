-- Readings that a person agreed are off, over some time: the variance that they count with, over that of others. Where
-- two agreements speak of one reading, the larger counts.
create or replace temp table known_agreed_readings as
with standing as (
    select a.source, a.name, a.since, a.until, a.variance_ratio, a.stands
    from agreements as a
    cross join known_moment as m
    where m.known_by is null or a.agreed_at <= m.known_by
    qualify row_number() over (partition by a.source, a.name, a.since order by a.agreement_id desc) = 1
)

select
    r.vehicle_id,
    r.position_id,
    r.life_no,
    r.direction,
    r.visit_id,
    r.timing,
    max(s.variance_ratio) as variance_ratio
from known_readings as r
join known_visits as v on v.visit_id = r.visit_id
join standing as s
    on s.stands
    and r.visit_date >= s.since
    and (s.until is null or r.visit_date <= s.until)
    and s.name = case s.source
        when 'instrument' then r.instrument
        when 'shop' then v.shop
        else coalesce(r.method, 'method not recorded') || coalesce(', read at the ' || r.read_at, '')
    end
group by r.vehicle_id, r.position_id, r.life_no, r.direction, r.visit_id, r.timing
