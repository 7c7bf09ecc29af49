-- What became of the files that were handed over. One row is one taking of one entry of the inbox: the loads that it
-- brought, or why it was refused. A file that is handed over again has a further row where it brought something.
create table inbox_entries (
    entry varchar not null,
    taking integer not null check (taking > 0),
    sha256 varchar not null,
    original_name varchar not null,
    size_bytes bigint not null,
    received_at timestamp not null,
    load_ids bigint[] not null,
    refused varchar,
    taken_at timestamp not null,
    primary key (entry, taking),
    check (refused is null or len(load_ids) = 0)
);
