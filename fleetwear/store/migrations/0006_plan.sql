-- What a plan of the weeks ahead needs: what a part is ordered as, what stands on the shelves, what was done about a flag.

-- superseded_by names the part number that is ordered in its place; a part ordered in pairs is put on both sides of an
-- axle; pieces_per_joint is how many one joint takes. An empty value stands for none, no and one.
alter table parts add column superseded_by varchar;
alter table parts add column ordered_in_pairs boolean;
alter table parts add column pieces_per_joint integer;

create sequence stock_ids;
create sequence action_ids;

-- One row is one count of one part number at one depot; the latest count stands.
create table stock (
    stock_id bigint primary key default nextval('stock_ids'),
    part_number varchar not null,
    depot varchar not null,
    on_hand integer not null check (on_hand >= 0),
    on_order integer not null check (on_order >= 0),
    expected_date date,
    counted_on date not null,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique
);

-- One row is one thing done about the flag of a joint. It says what is under way and never changes an outcome; only a
-- reading or work on the joint does.
create table actions (
    action_id bigint primary key default nextval('action_ids'),
    vehicle_id bigint not null,
    position_id bigint not null references positions (position_id),
    action_date date not null,
    action varchar not null check (
        action in ('ordered', 'booked', 'replaced', 'found good', 'declined', 'vehicle held out')
    ),
    done_by varchar,
    note varchar,
    load_id bigint not null references loads (load_id),
    source_row bigint not null,
    row_key varchar not null unique
);
