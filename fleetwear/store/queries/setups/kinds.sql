-- Kinds of joint with readings that setups can be told from, and the unit of play of most vehicles.
select distinct
    split_part(model_group, '/', 1) as kind,
    (select play_unit from vehicles group by play_unit order by count(*) desc, play_unit limit 1) as play_unit
from fit_residuals
where fit_id = $fit_id and growth is not null
order by kind
