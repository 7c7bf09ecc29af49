-- Which indicator a reading was taken with, by its own number.
alter table readings add column instrument varchar;

-- How far each measured reading lay from what the other readings of its series say of it, in the fit: what control
-- charts by instrument, method and shop are drawn of. sd_mm is the standard deviation of such a residual.
create table fit_residuals (
    fit_id bigint not null references fits (fit_id),
    vehicle_id bigint not null,
    position_id bigint not null,
    life_no integer not null,
    direction varchar not null,
    visit_id bigint not null,
    timing varchar not null,
    residual_mm double not null,
    sd_mm double not null check (sd_mm > 0),
    primary key (fit_id, vehicle_id, position_id, life_no, direction, visit_id, timing)
);

-- A person agreed that readings of an instrument, a method or a shop are off over some time: in fits made afterwards they
-- count with that many times the variance of others. No number is altered. A row that does not stand takes back what was
-- agreed about that source from that day on.
create sequence agreement_ids;

create table agreements (
    agreement_id bigint primary key default nextval('agreement_ids'),
    source varchar not null check (source in ('instrument', 'method', 'shop')),
    name varchar not null,
    since date not null,
    until date check (until >= since),
    shift_mm double not null,
    variance_ratio double not null check (variance_ratio >= 1),
    stands boolean not null,
    why varchar,
    agreed_by varchar,
    agreed_at timestamp not null
);
