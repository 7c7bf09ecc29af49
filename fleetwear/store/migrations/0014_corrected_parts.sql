-- Rows of parts can be corrected too. The table is made anew, because what it checks cannot be altered; everything that
-- it holds, and the views on it, stay as they were.
create table corrections_before as select * from corrections;

drop view not_counting;
drop view standing_rows;
drop view superseded;
drop table corrections;

create table corrections (
    correction_id bigint primary key default nextval('correction_ids'),
    table_name varchar not null
        check (table_name in ('vehicles', 'limits', 'odometer', 'services', 'parts', 'visits', 'readings', 'work')),
    row_id bigint not null,
    new_row_id bigint,
    action varchar not null check (action in ('corrected', 'withdrawn', 'reinstated')),
    changes varchar not null,
    why varchar not null,
    corrected_by varchar not null,
    corrected_at timestamp not null,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique,
    check ((action = 'withdrawn') = (new_row_id is null))
);

insert into corrections
select * from corrections_before order by correction_id;

drop table corrections_before;

-- Every row that no longer stands, and what stands in its place: null where it is withdrawn.
create view superseded as
select table_name, row_id, new_row_id, correction_id
from corrections
qualify row_number() over (partition by table_name, row_id order by correction_id desc) = 1;

-- Every row that has been corrected, with what stands in its place at the end of all corrections.
create view standing_rows as
with recursive steps (table_name, row_id, standing_id, correction_id) as (
    select table_name, row_id, new_row_id, correction_id from superseded
    union
    select steps.table_name, steps.row_id, s.new_row_id, s.correction_id
    from steps
    inner join superseded as s on s.table_name = steps.table_name and s.row_id = steps.standing_id
)

select steps.table_name, steps.row_id, steps.standing_id, steps.correction_id
from steps
anti join superseded as s on s.table_name = steps.table_name and s.row_id = steps.standing_id;

-- Every row that does not count: found out by later entries, or corrected. Readings that were set aside with a visit
-- count again once that visit is corrected.
create view not_counting as
select a.table_name, a.row_id
from set_aside as a
where not exists (
    select 1
    from readings as r
    inner join superseded as s on s.table_name = 'visits' and s.row_id = r.visit_id and s.new_row_id is not null
    where a.table_name = 'readings' and r.reading_id = a.row_id
)
union
select table_name, row_id from superseded;
