-- As ways_said.sql, where every row is taken in and the ways are put together.
create or replace temp table ways_said as
select distinct * exclude (n) from combined_manners
