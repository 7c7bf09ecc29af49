-- Backtests: forecasts of the past, made with only what had happened by then, against the readings that followed.

create sequence backtest_ids;

create table backtests (
    backtest_id bigint primary key default nextval('backtest_ids'),
    made_at timestamp not null,
    version varchar not null,
    settings json not null,
    elapsed_seconds double not null
);

-- One row is one as-of date. n_repeats: cases whose next reading was scored from an earlier date already; n_replaced:
-- series replaced or adjusted before they were read again (of these n_replaced_flagged stood above the accepted risk);
-- n_waiting: not read again by the end of the record. skipped says why a date was not scored, and is empty otherwise.
create table backtest_dates (
    backtest_id bigint not null references backtests (backtest_id),
    as_of date not null,
    n_cases integer not null,
    n_events integer not null,
    n_repeats integer not null,
    n_replaced integer not null,
    n_replaced_flagged integer not null,
    n_waiting integer not null,
    n_without_model integer not null,
    skipped varchar not null,
    primary key (backtest_id, as_of)
);

-- One row is one case: the last reading of a series by the as-of date, what was forecast of its next reading at the
-- distance at which that was taken, and what was read. event: over the limit. line_mm is what a straight line through
-- the joint's own readings foretold.
create table backtest_cases (
    backtest_id bigint not null references backtests (backtest_id),
    as_of date not null,
    vehicle_id bigint not null,
    position_id bigint not null,
    life_no integer not null,
    direction varchar not null,
    kind varchar not null,
    last_date date not null,
    last_mm double not null,
    limit_mm double not null,
    next_date date not null,
    ahead_km double not null,
    p_over double not null,
    mean_mm double not null,
    sd_mm double not null,
    q025_mm double not null,
    q10_mm double not null,
    q50_mm double not null,
    q90_mm double not null,
    q975_mm double not null,
    observed_mm double not null,
    event boolean not null,
    crps_mm double not null,
    accepted_risk double not null,
    share_of_limit double not null,
    line_mm double not null,
    primary key (backtest_id, as_of, vehicle_id, position_id, life_no, direction)
);

-- One row is one figure of one forecaster over the cases of a scope: "all", or a kind of joint. An empty value cannot
-- be told from these cases, such as skill where nothing crossed.
create table backtest_scores (
    backtest_id bigint not null references backtests (backtest_id),
    forecaster varchar not null check (forecaster in ('forecast', 'share of limit', 'straight line')),
    scope varchar not null,
    measure varchar not null,
    value double,
    n bigint not null,
    primary key (backtest_id, forecaster, scope, measure)
);

create table backtest_calibration (
    backtest_id bigint not null references backtests (backtest_id),
    scope varchar not null,
    bin integer not null,
    p_from double not null,
    p_to double not null,
    n bigint not null,
    mean_forecast double not null,
    events bigint not null,
    observed double not null,
    lower double not null,
    upper double not null,
    primary key (backtest_id, scope, bin)
);
