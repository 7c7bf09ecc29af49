-- What the fit learns of methods, of slipped readings and of wear that wanders, and each cohort's own weights.

-- From from_km on (distance since the life began, plus shift_km) the path wanders about the component's line: its
-- variance grows by wander_mm2_per_km.
alter table posteriors add column wander_mm2_per_km double default 0.0;
alter table posteriors add column from_km double default 0.0;

alter table fit_models add column wander_mm2_per_km double default 0.0;
-- Of the whole group: the factor of the variances of true play that visits not seen call for, and the power of the density
-- of a life's own readings in its weights of shapes.
alter table fit_models add column spread double default 1.0;
alter table fit_models add column evidence double default 0.0;

-- Between which days, and from what to what, play fell as if work had been left out of the record; else null.
alter table fit_series add column fell_after date;
alter table fit_series add column fell_on date;
alter table fit_series add column fell_from_mm double;
alter table fit_series add column fell_to_mm double;
alter table forecast_joints add column fell_after date;
alter table forecast_joints add column fell_on date;
alter table forecast_joints add column fell_from_mm double;
alter table forecast_joints add column fell_to_mm double;

-- One row is one method of measuring as one shape sees it. Without a detection curve the last two are null.
create table fit_methods (
    fit_id bigint not null references fits (fit_id),
    model_group varchar not null,
    shape varchar not null,
    method varchar not null,
    is_reference boolean not null,
    n_readings bigint not null,
    offset_mm double not null,
    offset_se double not null,
    variance_ratio double not null,
    threshold_mm double,
    softness_mm double,
    primary key (fit_id, model_group, shape, method)
);

-- The weight of each shape in the forecasts of one cohort, and the next visits that it was scored on.
create table fit_weights (
    fit_id bigint not null references fits (fit_id),
    model_group varchar not null,
    cohort varchar not null,
    shape varchar not null,
    weight double not null,
    n_scored bigint not null,
    primary key (fit_id, model_group, cohort, shape)
);

-- One row is one reading that does not fit its joint's history: the indicator has probably slipped.
create table fit_slips (
    fit_id bigint not null references fits (fit_id),
    vehicle_id bigint not null,
    position_id bigint not null,
    life_no integer not null,
    direction varchar not null,
    visit_id bigint not null,
    timing varchar not null,
    play_mm double not null,
    expected_mm double not null,
    p_slipped double not null,
    primary key (fit_id, vehicle_id, position_id, life_no, direction, visit_id, timing)
);
