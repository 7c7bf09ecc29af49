-- The joints in the sheet that some model does not have, told from the distinct ones, so that rows are looked at only
-- where there are any.
create or replace temp table lacking_joints as
select models.model, asked.joint_key
from joint_keys_asked as asked
cross join (select distinct model from vehicle_spans) as models
anti join positions as p on p.model = models.model and word_form(p.joint) = asked.joint_key
