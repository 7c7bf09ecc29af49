-- How many rows the store holds of each table that a forecast leans on.
select
    (select count(*) from vehicles) as vehicles,
    (select count(*) from positions) as positions,
    (select count(*) from limits) as limits,
    (select count(*) from readings) as readings,
    (select count(*) from services) as services
