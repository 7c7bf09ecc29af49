create or replace temp table known_loads as
select loads.load_id
from loads, known_moment as m
where m.known_by is null or loads.loaded_at <= m.known_by
