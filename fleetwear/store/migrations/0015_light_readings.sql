-- Readings are the one table of millions. The database kept an index for each of its three references and one of its
-- keys: four fifths of the file, most of the time that loading took, and memory for all of them at every load. What
-- they promised is promised by the one writer that there is at a time, which takes in no key that is there already and
-- makes the visit and the load in the same transaction, and `fleetwear verify` counts it all again. Keys are hashes,
-- which no compression makes smaller in the time that it takes. Columns, their order and what may stand in them stay as
-- they were. questions and answers refer to readings and are written anew with them.
create temp table readings_before as select * from readings;
create temp table questions_before as select * from questions;
create temp table answers_before as select * from answers;
drop table answers;
drop table questions;
drop table readings;

create table readings (
    reading_id bigint primary key default nextval('reading_ids'),
    visit_id bigint not null,
    vehicle_id bigint not null,
    position_id bigint not null,
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
    load_id bigint not null,
    source_row bigint not null,
    row_key varchar not null using compression uncompressed,
    instrument varchar,
    check ((result = 'measured') = (play_mm is not null))
);

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

insert into readings by name select * from readings_before order by reading_id;
insert into questions by name select * from questions_before order by question_id;
insert into answers by name select * from answers_before order by question_id;
drop table readings_before;
drop table questions_before;
drop table answers_before;
