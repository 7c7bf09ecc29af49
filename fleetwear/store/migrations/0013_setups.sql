-- What the setup beside repeatability is told from, reading by reading: the group of lives and way of reading, the play less
-- the offset of the method, the probability that the setup slipped, the growth curve of its life there and the
-- probability that an onset lies before it, how many strokes stand behind it, what their mean leaves of the setup's
-- variance, and the scatter of strokes about the means of their setups with its degrees of freedom. Empty in fits that
-- were made before.
alter table own_fit_residuals add column model_group varchar;
alter table own_fit_residuals add column way varchar;
alter table own_fit_residuals add column play_mm double;
alter table own_fit_residuals add column p_slipped double;
alter table own_fit_residuals add column growth double;
alter table own_fit_residuals add column passed double;
alter table own_fit_residuals add column strokes double;
alter table own_fit_residuals add column setup_share double;
alter table own_fit_residuals add column squares_mm2 double;
alter table own_fit_residuals add column stroke_degrees double;

create or replace view fit_residuals as
select v.fit_id, o.* exclude (fit_id)
from own_fit_residuals as o
join fit_vehicles as v on v.found_in = o.fit_id and v.vehicle_id = o.vehicle_id;
