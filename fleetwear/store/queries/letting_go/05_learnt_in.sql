create or replace temp table kept_learnt_in as
select distinct b.learnt_in as fit_id
from fit_bases as b
semi join kept_fits as k on k.fit_id = b.fit_id
