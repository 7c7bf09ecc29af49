-- For each joint in the sheet that its vehicle's model does not have, the joint that reads most like it.
create or replace temp table nearest_joints as
with unknown as (
    select distinct s.model, t.joint_key
    from joints_asked as t
    inner join vehicle_spans as s
        on s.unit_key = t.unit_key and t.on_date >= s.from_date and t.on_date < s.until_date
    inner join lacking_joints as lacking on lacking.model = s.model and lacking.joint_key = t.joint_key
    order by s.model, t.joint_key
    limit 500
)
select
    unknown.model,
    unknown.joint_key,
    arg_max(p.joint, jaro_winkler_similarity(unknown.joint_key, word_form(p.joint))) as nearest
from unknown
inner join positions as p on p.model = unknown.model
group by unknown.model, unknown.joint_key
