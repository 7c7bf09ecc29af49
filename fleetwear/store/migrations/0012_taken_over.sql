-- A fit or forecast may take over from an earlier one what nothing new has been seen of. What it found itself stands in
-- the tables own_...; the views of the old names add what it took over. Neither has keys: rows are written once, in one
-- transaction, from frames with one row a key, and an index over every series of every night would outgrow them.

-- What the groups of a fit have learnt, as text that the program reads back to know series anew.
create table fit_learnt (
    fit_id bigint not null,
    model_group varchar not null,
    content varchar not null
);

-- What its repeat visits say of setup, by kind of joint, likewise.
create table fit_setups (
    fit_id bigint not null,
    kind varchar not null,
    content varchar not null
);

-- The fit whose populations a fit goes by: its own number, or that of an earlier one.
create table fit_bases (
    fit_id bigint not null,
    learnt_in bigint not null
);

-- One row a vehicle of a fit: the fit that found what is known of its series, and the state of its record then, which is
-- another when anything of it changes.
create table fit_vehicles (
    fit_id bigint not null,
    vehicle_id bigint not null,
    found_in bigint not null,
    state varchar
);

-- One row a vehicle of a forecast: the forecast whose draws these are, the day that they look ahead from, and the state
-- of all that is known of it.
create table forecast_sources (
    forecast_id bigint not null,
    vehicle_id bigint not null,
    made_in bigint not null,
    looked_from date not null,
    state varchar
);

create table own_fit_series as from fit_series;
create table own_posteriors as from posteriors;
create table own_fit_slips as from fit_slips;
create table own_fit_residuals as from fit_residuals;
create table own_forecast_joints as from forecast_joints;
create table own_forecast_vehicles as from forecast_vehicles;

insert into fit_vehicles (fit_id, vehicle_id, found_in)
select distinct fit_id, vehicle_id, fit_id from fit_series;

insert into fit_bases (fit_id, learnt_in)
select fit_id, fit_id from fits;

insert into forecast_sources (forecast_id, vehicle_id, made_in, looked_from)
select v.forecast_id, v.vehicle_id, v.forecast_id, f.as_of
from forecast_vehicles as v
join forecasts as f on f.forecast_id = v.forecast_id;

drop table fit_series;
drop table posteriors;
drop table fit_slips;
drop table fit_residuals;
drop table forecast_joints;
drop table forecast_vehicles;

create view fit_series as
select v.fit_id, o.* exclude (fit_id)
from own_fit_series as o
join fit_vehicles as v on v.found_in = o.fit_id and v.vehicle_id = o.vehicle_id;

create view posteriors as
select v.fit_id, o.* exclude (fit_id)
from own_posteriors as o
join fit_vehicles as v on v.found_in = o.fit_id and v.vehicle_id = o.vehicle_id;

create view fit_slips as
select v.fit_id, o.* exclude (fit_id)
from own_fit_slips as o
join fit_vehicles as v on v.found_in = o.fit_id and v.vehicle_id = o.vehicle_id;

create view fit_residuals as
select v.fit_id, o.* exclude (fit_id)
from own_fit_residuals as o
join fit_vehicles as v on v.found_in = o.fit_id and v.vehicle_id = o.vehicle_id;

create view forecast_joints as
select s.forecast_id, o.* exclude (forecast_id)
from own_forecast_joints as o
join forecast_sources as s on s.made_in = o.forecast_id and s.vehicle_id = o.vehicle_id;

create view forecast_vehicles as
select s.forecast_id, o.* exclude (forecast_id)
from own_forecast_vehicles as o
join forecast_sources as s on s.made_in = o.forecast_id and s.vehicle_id = o.vehicle_id;
