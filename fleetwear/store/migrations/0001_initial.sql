-- The store as first released. Canonical units: mm, km, days. What a person wrote stands beside it.
-- Rows are only ever added. load_id and source_row say where each came from; row_key is the hash of the
-- row's content and of how often it has occurred in its file, so that a row loaded twice is known again.

create sequence load_ids;
create sequence vehicle_ids;
create sequence position_ids;
create sequence limit_ids;
create sequence service_ids;
create sequence part_ids;
create sequence visit_ids;
create sequence visit_note_ids;
create sequence reading_ids;
create sequence work_ids;
create sequence odometer_ids;
create sequence quarantine_ids;
create sequence question_ids;
create sequence fit_ids;
create sequence forecast_ids;

create table loads (
    load_id bigint primary key default nextval('load_ids'),
    file_name varchar not null,
    sheet varchar,
    sha256 varchar not null,
    table_name varchar not null,
    rows_read bigint not null,
    rows_in bigint not null,
    rows_known bigint not null,
    rows_quarantined bigint not null,
    loaded_at timestamp not null,
    elapsed_seconds double not null,
    version varchar not null
);

-- One row is a vehicle as described from a date on; a vehicle that moved depot has two.
create table vehicles (
    vehicle_row_id bigint primary key default nextval('vehicle_ids'),
    vehicle_id bigint not null,
    unit varchar not null,
    valid_from date not null,
    vin varchar,
    plate varchar,
    make varchar,
    model varchar not null,
    model_year integer,
    tyre_size varchar,
    owner varchar,
    duty varchar,
    depot varchar,
    in_service_date date,
    in_service_odometer_km double check (in_service_odometer_km >= 0),
    distance_source varchar not null check (distance_source in ('odometer', 'hub meter', 'none')),
    distance_unit varchar not null check (distance_unit in ('km', 'mi')),
    play_unit varchar not null check (play_unit in ('mm', 'thou', 'in', 'um')),
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique
);

create table positions (
    position_id bigint primary key default nextval('position_ids'),
    model varchar not null,
    axle varchar not null,
    side varchar check (side in ('left', 'right', 'centre')),
    place varchar,
    kind varchar not null,
    joint varchar not null,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique,
    unique (model, joint)
);

-- An empty model, place, direction or method stands for any.
create table limits (
    limit_id bigint primary key default nextval('limit_ids'),
    model varchar,
    kind varchar not null,
    place varchar,
    direction varchar check (direction in ('in-out', 'fore-aft', 'up-down')),
    method varchar,
    read_at varchar,
    limit_mm double not null check (limit_mm > 0),
    limit_written varchar not null,
    limit_unit varchar not null,
    basis varchar not null check (basis in ('maker', 'statute', 'shop')),
    source varchar not null,
    valid_from date not null,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique
);

-- One row is one service done, with the interval to the one after it.
create table services (
    service_id bigint primary key default nextval('service_ids'),
    vehicle_id bigint not null,
    done_date date not null,
    done_odometer_km double check (done_odometer_km >= 0),
    interval_km double check (interval_km > 0),
    interval_months double check (interval_months > 0),
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique,
    check (interval_km is not null or interval_months is not null)
);

create table parts (
    part_id bigint primary key default nextval('part_ids'),
    part_number varchar not null,
    model varchar,
    kind varchar not null,
    place varchar,
    supplier varchar,
    cost double check (cost >= 0),
    lead_days integer check (lead_days >= 0),
    labour_hours double check (labour_hours >= 0),
    alignment_after boolean,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique
);

create table visits (
    visit_id bigint primary key default nextval('visit_ids'),
    vehicle_id bigint not null,
    visit_date date not null,
    odometer_km double check (odometer_km >= 0),
    odometer_written varchar,
    odometer_unit varchar,
    shop varchar,
    technician varchar,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique
);

-- What one row of a file says of a visit. A visit may come to the store with its readings, before what was
-- said of it does, so these are rows of their own; where two speak of one thing, the later one stands.
create table visit_notes (
    visit_note_id bigint primary key default nextval('visit_note_ids'),
    visit_id bigint not null references visits (visit_id),
    shop varchar,
    technician varchar,
    complaint varchar,
    symptom_confirmed boolean,
    symptom_position_id bigint references positions (position_id),
    secured varchar,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique
);

-- One row is one visit with what has been said of it.
create view visit_details as
select
    visits.visit_id,
    visits.vehicle_id,
    visits.visit_date,
    visits.odometer_km,
    visits.odometer_written,
    visits.odometer_unit,
    coalesce(notes.shop, visits.shop) as shop,
    coalesce(notes.technician, visits.technician) as technician,
    notes.complaint,
    notes.symptom_confirmed,
    notes.symptom_position_id,
    notes.secured,
    visits.load_id,
    visits.source_row,
    visits.row_key
from visits
left join (
    select
        visit_id,
        arg_max(shop, visit_note_id) filter (where shop is not null) as shop,
        arg_max(technician, visit_note_id) filter (where technician is not null) as technician,
        arg_max(complaint, visit_note_id) filter (where complaint is not null) as complaint,
        arg_max(symptom_confirmed, visit_note_id) filter (where symptom_confirmed is not null) as symptom_confirmed,
        arg_max(symptom_position_id, visit_note_id) filter (where symptom_position_id is not null)
            as symptom_position_id,
        arg_max(secured, visit_note_id) filter (where secured is not null) as secured
    from visit_notes
    group by visit_id
) as notes on notes.visit_id = visits.visit_id;

-- One row is one stroke or result. session tells repeats apart, stroke tells strokes of one session apart.
create table readings (
    reading_id bigint primary key default nextval('reading_ids'),
    visit_id bigint not null references visits (visit_id),
    vehicle_id bigint not null,
    position_id bigint not null references positions (position_id),
    direction varchar not null check (direction in ('in-out', 'fore-aft', 'up-down')),
    method varchar,
    support varchar check (support in ('loaded', 'hanging')),
    read_at varchar,
    indicator varchar,
    technician varchar,
    session integer not null,
    stroke integer not null,
    timing varchar not null check (timing in ('before work', 'after work')),
    result varchar not null check (result in ('measured', 'none seen', 'seen, not measured')),
    play_mm double check (play_mm >= 0),
    play_written varchar,
    play_unit varchar,
    resolution_mm double check (resolution_mm > 0),
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique,
    check ((result = 'measured') = (play_mm is not null))
);

create table work (
    work_id bigint primary key default nextval('work_ids'),
    vehicle_id bigint not null,
    position_id bigint not null references positions (position_id),
    work_date date not null,
    odometer_km double check (odometer_km >= 0),
    work varchar not null check (work in ('replaced', 'adjusted', 'greased')),
    part_number varchar,
    supplier varchar,
    reason varchar,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique
);

-- Any other dated odometer value; a swap names the last value of the old and the first of the new.
create table odometer (
    odometer_id bigint primary key default nextval('odometer_ids'),
    vehicle_id bigint not null,
    entry_date date not null,
    odometer_km double not null check (odometer_km >= 0),
    event varchar not null check (event in ('reading', 'swap')),
    new_odometer_km double check (new_odometer_km >= 0),
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique,
    check ((event = 'swap') = (new_odometer_km is not null))
);

-- A refused row, verbatim. It is never removed; settled_rows says which load brought its correction.
create table quarantine (
    quarantine_id bigint primary key default nextval('quarantine_ids'),
    load_id bigint not null references loads (load_id),
    file_name varchar not null,
    sheet varchar,
    table_name varchar not null,
    source_row bigint not null,
    cells json not null,
    reasons varchar[] not null
);

create table settled_rows (
    quarantine_id bigint primary key references quarantine (quarantine_id),
    load_id bigint not null references loads (load_id),
    settled_at timestamp not null
);

-- The odometer entry of a row that was refused because entries in the store contradict it. It still has a voice
-- until it is settled: when more true rows follow, the stored entry is found out instead.
create table refused_odometer (
    quarantine_id bigint primary key references quarantine (quarantine_id),
    vehicle_id bigint not null,
    entry_date date not null,
    odometer_km double not null
);

-- A row already in the store that later entries contradicted (an odometer typo found out): set aside, not
-- removed. Its copy in quarantine carries the reason and can be settled like any other. With a visit, its readings
-- are set aside. For 'vehicles' only the in-service odometer of that row is not believed; the vehicle stays.
create table set_aside (
    table_name varchar not null,
    row_id bigint not null,
    quarantine_id bigint not null references quarantine (quarantine_id),
    primary key (table_name, row_id)
);

-- A reading taken in that looks implausible: asked about, shown among the flags until it is answered.
create table questions (
    question_id bigint primary key default nextval('question_ids'),
    reading_id bigint not null references readings (reading_id),
    question varchar not null,
    load_id bigint not null references loads (load_id)
);

create table answers (
    question_id bigint primary key references questions (question_id),
    answer varchar not null check (answer in ('true reading', 'mistake')),
    answered_by varchar,
    answered_at timestamp not null
);

create table fits (
    fit_id bigint primary key default nextval('fit_ids'),
    as_of date not null,
    known_by timestamp,
    made_at timestamp not null,
    elapsed_seconds double not null,
    version varchar not null,
    settings json not null
);

-- One row is one shape fitted to one group of lives that share their covariance.
create table fit_models (
    fit_id bigint not null references fits (fit_id),
    model_group varchar not null,
    shape varchar not null,
    weight double not null,
    exponent double not null,
    reference_km double not null,
    pace double not null,
    n_lives bigint not null,
    n_readings bigint not null,
    residual_variance double not null,
    slip_share double,
    slip_shift_mm double,
    slip_variance double,
    cov_intercept double not null,
    cov_cross double not null,
    cov_growth double not null,
    loglik double not null,
    converged boolean not null,
    doubt varchar not null,
    primary key (fit_id, model_group, shape)
);

create table fit_cohorts (
    fit_id bigint not null references fits (fit_id),
    model_group varchar not null,
    shape varchar not null,
    cohort varchar not null,
    parent varchar not null,
    n_lives bigint not null,
    stands_alone boolean not null,
    intercept double not null,
    growth double not null,
    intercept_se double not null,
    growth_se double not null,
    primary key (fit_id, model_group, shape, cohort)
);

-- One row is one series: a life of a joint, tested in one load direction. effect is its standardised growth
-- effect with its reliability; last_z says how far the last reading lay from what the earlier ones foretold,
-- in standard deviations.
create table fit_series (
    fit_id bigint not null references fits (fit_id),
    vehicle_id bigint not null,
    position_id bigint not null,
    life_no integer not null,
    direction varchar not null,
    model_group varchar not null,
    cohort varchar not null,
    whose_line varchar not null,
    n_visits integer not null,
    effect double not null,
    reliability double not null,
    last_expected_mm double,
    last_z double,
    doubt varchar not null,
    primary key (fit_id, vehicle_id, position_id, life_no, direction)
);

-- One row is what one component (a shape, an onset in two-stage wear, and for a life of unknown origin a distance
-- that it may have run before) knows of one series: with t = x + shift_km, x in km since the life began,
-- play(x) = intercept + growth * ((t / reference_km) ^ exponent + (pace - 1) * max(t - onset_km, 0) / reference_km).
-- Where wear does not change its pace, pace is 1 and onset_km 0.
create table posteriors (
    fit_id bigint not null references fits (fit_id),
    vehicle_id bigint not null,
    position_id bigint not null,
    life_no integer not null,
    direction varchar not null,
    shape varchar not null,
    shift_km double not null,
    weight double not null,
    intercept double not null,
    growth double not null,
    var_intercept double not null,
    cov_cross double not null,
    var_growth double not null,
    exponent double not null,
    reference_km double not null,
    pace double not null,
    onset_km double not null,
    residual_variance double not null,
    primary key (fit_id, vehicle_id, position_id, life_no, direction, shape, shift_km, onset_km)
);

create table forecasts (
    forecast_id bigint primary key default nextval('forecast_ids'),
    fit_id bigint not null references fits (fit_id),
    as_of date not null,
    known_by timestamp,
    made_at timestamp not null,
    elapsed_seconds double not null,
    version varchar not null,
    settings json not null
);

-- One row is one joint of one vehicle in one load direction: what is known, what is forecast, what is said.
create table forecast_joints (
    forecast_id bigint not null references forecasts (forecast_id),
    vehicle_id bigint not null,
    position_id bigint not null,
    direction varchar not null,
    life_no integer not null,
    origin varchar not null,
    life_start_date date,
    life_start_km double not null,
    life_distance_km double not null,
    n_visits integer not null,
    last_visit_id bigint,
    last_date date,
    last_result varchar,
    last_play_mm double,
    last_method varchar,
    measured_date date,
    last_largest_mm double,
    asked_play_mm double,
    last_expected_mm double,
    last_z double,
    symptom varchar not null,
    question varchar not null,
    limit_id bigint,
    limit_mm double,
    limit_source varchar,
    indicative varchar not null,
    share_of_limit double,
    growth_mm_per_km double,
    growth_lower double,
    growth_upper double,
    play_now_mm double,
    play_next_mm double,
    play_next_lower double,
    play_next_upper double,
    p_over_next double,
    p_reading_over_next double,
    crossing_odometer_05 double,
    crossing_odometer_50 double,
    crossing_odometer_95 double,
    crossing_date_05 date,
    crossing_date_50 date,
    crossing_date_95 date,
    accepted_risk double not null,
    cohort varchar not null,
    doubt varchar not null,
    outcome varchar not null,
    reason varchar not null,
    primary key (forecast_id, vehicle_id, position_id, direction)
);

create table forecast_vehicles (
    forecast_id bigint not null references forecasts (forecast_id),
    vehicle_id bigint not null,
    depot varchar,
    odometer_now double,
    odometer_now_lower double,
    odometer_now_upper double,
    km_per_day double not null,
    next_service_date_05 date not null,
    next_service_date_50 date not null,
    next_service_date_95 date not null,
    next_service_odometer_05 double,
    next_service_odometer_50 double,
    next_service_odometer_95 double,
    overdue boolean not null,
    distance_note varchar not null,
    p_any_over_next double,
    joints_in_probability integer not null,
    symptom varchar not null,
    outcome varchar not null,
    reason varchar not null,
    position_id bigint,
    direction varchar,
    primary key (forecast_id, vehicle_id)
);
