-- Whether two visits are one, and whether a file has left and right the wrong way round: asked, and answered by people.
-- visit_id is the later of the two to be loaded. Numbers are those of the questions about readings.
create table identity_questions (
    identity_question_id bigint primary key default nextval('question_ids'),
    asks varchar not null check (asks in ('same visit', 'swapped sides')),
    visit_id bigint references visits (visit_id),
    other_visit_id bigint references visits (visit_id),
    question varchar not null,
    load_id bigint not null references loads (load_id),
    check ((asks = 'same visit') = (visit_id is not null)),
    check ((asks = 'same visit') = (other_visit_id is not null)),
    check (other_visit_id < visit_id)
);

create table identity_answers (
    identity_question_id bigint primary key references identity_questions (identity_question_id),
    answer varchar not null check (answer in ('same visit', 'two visits', 'swapped', 'as written')),
    answered_by varchar,
    answered_at timestamp not null
);
