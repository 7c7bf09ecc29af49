-- For each joint in the sheet that its vehicle's model does not have, the joint that reads most like it. Which joints
-- some model lacks is told from the distinct ones first, so that nothing is looked up where every model has them all.
create or replace temp table nearest_joints as
with lacking as (
    select models.model, asked.joint_key
    from (select distinct joint_key from joints_asked where joint_key is not null) as asked
    cross join (select distinct model from vehicle_spans) as models
    anti join positions as p on p.model = models.model and word_form(p.joint) = asked.joint_key
),
unknown as (
    select distinct s.model, t.joint_key
    from joints_asked as t
    inner join vehicle_spans as s
        on s.unit_key = t.unit_key and t.on_date >= s.from_date and t.on_date < s.until_date
    inner join lacking on lacking.model = s.model and lacking.joint_key = t.joint_key
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
