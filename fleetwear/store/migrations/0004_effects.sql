-- One row is one comparison of the growth of play between levels of a factor (depot, duty, side, supplier of the part,
-- model), within a kind of joint or over all kinds. A level that cannot be compared has a note and no ratio.
create table fit_effects (
    fit_id bigint not null references fits (fit_id),
    row_no integer not null,
    kind varchar not null,
    factor varchar not null,
    level varchar not null,
    reference varchar not null,
    n_lives integer not null,
    n_vehicles integer not null,
    n_readings integer not null,
    ratio double,
    lower double,
    upper double,
    simultaneous_lower double,
    simultaneous_upper double,
    p_value double,
    p_holm double,
    note varchar not null,
    says varchar not null,
    primary key (fit_id, row_no)
);
