-- The partition of every vehicle that has a series: by a hash of its number, so that it is the same on every machine.
create or replace temp table partition_vehicles as
select distinct
    vehicle_id,
    (md5_number_lower(vehicle_id::varchar) % $partitions::ubigint)::integer as partition
from fit_input_series
