-- The joints of a list that no position on record has, each with the one that reads most like it.
with asked as (select unnest($joints::varchar[]) as joint)
select
    asked.joint,
    (
        select arg_max(p.joint, jaro_winkler_similarity(word_form(p.joint), word_form(asked.joint)))
        from positions as p
    ) as nearest
from asked
where word_form(asked.joint) not in (select word_form(joint) from positions)
order by asked.joint
