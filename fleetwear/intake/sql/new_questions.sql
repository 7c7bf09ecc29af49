-- Readings of this load that are far larger than any limit for their kind of joint: asked about, not refused.
select
    r.reading_id,
    v.unit,
    p.joint,
    d.visit_date,
    r.play_mm,
    r.play_written,
    r.play_unit,
    largest.limit_mm
from readings as r
inner join positions as p on p.position_id = r.position_id
inner join visits as d on d.visit_id = r.visit_id
inner join (select vehicle_id, any_value(unit) as unit from vehicles group by vehicle_id) as v
    on v.vehicle_id = r.vehicle_id
left join (
    select kind, max(limit_mm) as limit_mm
    from limits
    anti join superseded as gone on gone.table_name = 'limits' and gone.row_id = limit_id
    group by kind
) as largest on largest.kind = p.kind
where r.load_id = $load_id
    and r.play_mm > coalesce(5 * largest.limit_mm, 25)
order by r.reading_id
