-- The lives on record by kind, and how many of them no trend can take: of unknown origin, with distances that are
-- estimated from dates, never read. Needs the tables of known/.
with read as (
    select distinct vehicle_id, position_id, life_no
    from known_series_visits
)

select
    p.kind,
    count(*) as n_parts,
    count(*) filter (where s.distance_source = 'none') as without_odometer,
    count(*) filter (where s.distance_source <> 'none' and l.origin = 'unknown') as of_unknown_origin,
    count(*) filter (
        where s.distance_source <> 'none' and l.origin <> 'unknown' and read.vehicle_id is null
    ) as never_read
from known_lives as l
join positions as p on p.position_id = l.position_id
join known_starts as s on s.vehicle_id = l.vehicle_id
left join read
    on read.vehicle_id = l.vehicle_id and read.position_id = l.position_id and read.life_no = l.life_no
group by p.kind
order by p.kind
