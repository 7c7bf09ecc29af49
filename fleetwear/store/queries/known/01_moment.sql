-- The moment that the other tables of this folder look from: only what had happened by as_of, and, where
-- known_by is given, only what had been loaded by then.
create or replace temp table known_moment as
select $as_of::date as as_of, $known_by::timestamp as known_by, $km_per_day::double as assumed_km_per_day
