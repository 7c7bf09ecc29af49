-- The basis of a limit in full, wheel checks and their limits, what a visit tested, symptoms against movement.

-- Whether the limit is stated for a joint that carries the vehicle; empty stands for any.
alter table limits add column support varchar;
-- Gross weight rating, as the statutes divide vehicles by it; empty where it is not on record.
alter table vehicles add column weight_class varchar;

create sequence wheel_limit_ids;
create sequence wheel_check_ids;

-- How much play a check of a whole wheel or its linkage allows. An empty model, weight class, bead diameter,
-- direction, method, support or read_at stands for any; limit_mm is empty where the source gives no number.
create table wheel_limits (
    wheel_limit_id bigint primary key default nextval('wheel_limit_ids'),
    model varchar,
    wheel_part varchar not null,
    weight_class varchar,
    bead_from_in double,
    bead_to_in double,
    direction varchar check (direction in ('in-out', 'fore-aft', 'up-down')),
    method varchar,
    support varchar check (support in ('loaded', 'hanging')),
    read_at varchar,
    bearings_adjusted boolean,
    limit_mm double check (limit_mm > 0),
    limit_written varchar,
    limit_unit varchar,
    basis varchar not null check (basis in ('maker', 'statute', 'shop')),
    source varchar not null,
    note varchar,
    valid_from date not null,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique
);

-- One row is one reading of a wheel, which is no reading of any one joint and takes no part in the wear model.
create table wheel_checks (
    wheel_check_id bigint primary key default nextval('wheel_check_ids'),
    visit_id bigint not null references visits (visit_id),
    vehicle_id bigint not null,
    axle varchar not null,
    side varchar not null check (side in ('left', 'right', 'centre')),
    wheel_part varchar not null,
    direction varchar check (direction in ('in-out', 'fore-aft', 'up-down')),
    method varchar,
    support varchar check (support in ('loaded', 'hanging')),
    read_at varchar not null,
    bearings_adjusted boolean,
    bead_diameter_in double check (bead_diameter_in > 0),
    technician varchar,
    result varchar not null check (result in ('measured', 'none seen', 'seen, not measured')),
    play_mm double check (play_mm >= 0),
    play_written varchar,
    play_unit varchar,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique,
    check ((result = 'measured') = (play_mm is not null))
);

-- One row is one check of one wheel by the moment of a forecast, against the limits valid on its day. is_last: it still
-- stands, since that part of the wheel has not been measured again later.
create table forecast_wheels (
    forecast_id bigint not null references forecasts (forecast_id),
    vehicle_id bigint not null,
    wheel_check_id bigint not null,
    is_last boolean not null,
    verdict varchar not null,
    says varchar not null,
    indicative varchar not null,
    primary key (forecast_id, wheel_check_id)
);

-- The limit that was valid on the day of the last measured reading; limit_mm is the one valid at the next service.
alter table forecast_joints add column judged_limit_mm double;
alter table forecast_joints add column judged_limit_source varchar;
alter table forecast_joints add column limit_valid_from date;
alter table forecast_joints add column limit_basis varchar;
-- What the limit's procedure adds to the play as the fit knows it, and how uncertain that is.
alter table forecast_joints add column procedure_offset_mm double;
alter table forecast_joints add column procedure_sd_mm double;
-- Whether this load direction of the joint was tested at the vehicle's last visit.
alter table forecast_joints add column tested_at_last_visit boolean;
-- What this fleet's record says of joints whose mate across the axle had a confirmed symptom, or empty.
alter table forecast_joints add column mate_note varchar;

alter table forecast_vehicles add column last_visit_date date;
alter table forecast_vehicles add column joints_to_test integer;
alter table forecast_vehicles add column joints_untested integer;
alter table forecast_vehicles add column joints_tested_in_part integer;
