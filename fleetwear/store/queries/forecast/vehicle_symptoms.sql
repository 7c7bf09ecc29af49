-- Confirmed symptoms that name no joint: they concern the whole vehicle until any joint of it is worked on.
select
    v.vehicle_id,
    coalesce(v.complaint, 'symptom') || ' confirmed on ' || strftime(v.visit_date, '%Y-%m-%d')
        || ', no joint named' as symptom
from known_visits as v
where v.symptom_confirmed is not null and v.symptom_position_id is null
qualify row_number() over (partition by v.vehicle_id order by v.visit_date desc, v.visit_id desc) = 1
    and v.symptom_confirmed
    and not exists (
        select 1
        from known_work as w
        where w.vehicle_id = v.vehicle_id and w.work <> 'greased' and w.work_date >= v.visit_date
    )
order by v.vehicle_id
