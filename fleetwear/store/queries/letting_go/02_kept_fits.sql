-- The fits of kept forecasts, and as many of the latest ones, of which a forecast may still be made.
create or replace temp table kept_fits as
select fit_id from kept_forecasts
union
(select fit_id from fits order by fit_id desc limit $keep)
