-- How a joint was read is said of millions of readings in a few hundred ways, so each way stands once and readings name
-- it: most of the time that loading took went into writing the same words again. The view `readings` has the columns,
-- in their order, that the table had. What an index and references promised is promised by the one writer that there is
-- at a time: it takes numbers from sequences, and makes the way with the reading; `fleetwear verify` counts it all again.
create temp table readings_before as select * from readings;
create temp table questions_before as select * from questions;
create temp table answers_before as select * from answers;
drop table answers;
drop table questions;
drop table readings;

create sequence reading_way_ids;

create table reading_ways (
    way_id bigint primary key default nextval('reading_way_ids'),
    direction varchar not null check (direction in ('in-out', 'fore-aft', 'up-down')),
    method varchar,
    support varchar check (support in ('loaded', 'hanging')),
    read_at varchar,
    indicator varchar,
    instrument varchar,
    technician varchar,
    timing varchar not null check (timing in ('before work', 'after work'))
);

create table reading_rows (
    reading_id bigint not null default nextval('reading_ids'),
    visit_id bigint not null,
    vehicle_id bigint not null,
    position_id bigint not null,
    way_id bigint not null,
    session integer not null,
    stroke integer not null,
    result varchar not null check (result in ('measured', 'none seen', 'seen, not measured')),
    play_mm double check (play_mm >= 0),
    play_written varchar,
    play_unit varchar,
    resolution_mm double check (resolution_mm > 0),
    load_id bigint not null,
    source_row bigint not null,
    row_key varchar not null using compression uncompressed,
    check ((result = 'measured') = (play_mm is not null))
);

create view readings as
select
    r.reading_id,
    r.visit_id,
    r.vehicle_id,
    r.position_id,
    w.direction,
    w.method,
    w.support,
    w.read_at,
    w.indicator,
    w.technician,
    r.session,
    r.stroke,
    w.timing,
    r.result,
    r.play_mm,
    r.play_written,
    r.play_unit,
    r.resolution_mm,
    r.load_id,
    r.source_row,
    r.row_key,
    w.instrument
from reading_rows as r
left join reading_ways as w on w.way_id = r.way_id;

create table questions (
    question_id bigint primary key default nextval('question_ids'),
    reading_id bigint not null,
    question varchar not null,
    load_id bigint not null references loads (load_id)
);

create table answers (
    question_id bigint primary key references questions (question_id),
    answer varchar not null check (answer in ('true reading', 'mistake')),
    answered_by varchar,
    answered_at timestamp not null
);

insert into reading_ways by name
select distinct direction, method, support, read_at, indicator, instrument, technician, timing
from readings_before
order by all;

insert into reading_rows by name
select r.* exclude (direction, method, support, read_at, indicator, instrument, technician, timing), w.way_id
from readings_before as r
inner join reading_ways as w
    on w.direction = r.direction
    and w.method is not distinct from r.method
    and w.support is not distinct from r.support
    and w.read_at is not distinct from r.read_at
    and w.indicator is not distinct from r.indicator
    and w.instrument is not distinct from r.instrument
    and w.technician is not distinct from r.technician
    and w.timing = r.timing
order by r.reading_id;

insert into questions by name select * from questions_before order by question_id;
insert into answers by name select * from answers_before order by question_id;
drop table readings_before;
drop table questions_before;
drop table answers_before;
