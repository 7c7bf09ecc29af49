-- The joints of each model as they are compared.
create or replace temp table joint_names as
select model, word_form(joint) as joint_key, position_id
from positions
