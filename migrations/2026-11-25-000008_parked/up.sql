-- Entries that wait: for a parent, for a newer server, for the office; and the order entries were booked in.

-- ---------------------------------------------------------------- the order of booking

-- One number per transaction that books, drawn while it holds the locks on what it changes: of two
-- that change the same thing, the later has the higher number. A parked entry is booked long after it
-- came in, so that neither its arrival nor its place in the trail says when.
create sequence entry_turns;
grant usage on sequence entry_turns to dropwise_server;

alter table entries
    -- A server from before this step books one entry after the other, each with a number of its own.
    add column booked_turn bigint default nextval('entry_turns'),
    add column booked_line integer default 0;

-- The owner is bound by its own walls; a step of the schema looks over them, and puts them up again.
alter table entries no force row level security;
alter table trail no force row level security;
update entries e set booked_turn = t.position
    from trail t
    where t.fleet_id = e.fleet_id and t.record_id = e.entry_id and t.kind = 'entry'
        and e.verdict in ('taken', 'adjusted', 'yielded');
update entries set booked_turn = null, booked_line = null where verdict in ('refused', 'parked');
select setval('entry_turns', (select coalesce(max(position), 0) + 1 from trail));
alter table trail force row level security;

create index entries_in_order on entries (fleet_id, booked_turn, booked_line) where booked_line is not null;
create index entries_waiting on entries (fleet_id, entry_id) where verdict = 'parked';
create index entries_of_unknown_kind on entries (fleet_id, kind, form)
    where verdict = 'parked' and code = 'unknown_kind';

-- Who of the office decided on a parked entry, and when. The server writes whoever is signed in; a foreign
-- key would be asked for every entry, of which hardly any is decided on.
alter table entries add column decided_by uuid, add column decided_at timestamptz;
grant update (booked_turn, booked_line, answer, decided_by, decided_at) on entries to dropwise_server;

-- ---------------------------------------------------------------- parked entries

-- What a parked entry says, whole, so that it can be judged again.
create table parked (
    fleet_id  uuid        not null,
    entry_id  uuid        not null,
    entry     jsonb       not null,
    parked_at timestamptz not null,
    -- Whether the next handover of the fleet shall look whether it can be booked now.
    look      boolean     not null,
    primary key (fleet_id, entry_id),
    foreign key (fleet_id, entry_id) references entries
);
create index parked_to_look_at on parked (fleet_id, entry_id) where look;

-- What it waits for: an entry to be judged, a container to be opened.
create table parked_waits (
    fleet_id uuid not null,
    entry_id uuid not null,
    what     uuid not null,
    primary key (fleet_id, entry_id, what),
    foreign key (fleet_id, entry_id) references parked on delete cascade
);
create index parked_waits_by_what on parked_waits (fleet_id, what);

insert into parked (fleet_id, entry_id, entry, parked_at, look)
    select fleet_id, entry_id,
           jsonb_build_object('id', entry_id, 'n', n, 'kind', kind, 'form', form,
                              'happened_at', to_char(happened_at at time zone 'utc', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'),
                              'body', body),
           received_at, true
    from entries where verdict = 'parked';
alter table entries force row level security;

-- ---------------------------------------------------------------- set-aside entries

-- What came from a phone that may not hand over (two phones as one, a revoked device): not judged, not
-- booked, not lost. It leaves this list when it arrives properly, or when the office decides.
create table set_aside (
    fleet_id     uuid        not null,
    set_aside_id uuid        not null,
    lane_id      uuid        not null,
    member_id    uuid        not null,
    place_id     uuid,
    entry_id     uuid        not null,
    digest       bytea       not null,
    entry        jsonb       not null,
    why          text        not null check (why in ('lane_shared', 'device_revoked')),
    set_aside_at timestamptz not null,
    -- null while the office has not decided; then the entry it was booked as, or nothing.
    decision     text        check (decision in ('booked', 'dropped', 'arrived')),
    booked_as    uuid,
    decided_by   uuid,
    decided_at   timestamptz,
    primary key (fleet_id, set_aside_id),
    unique (fleet_id, lane_id, entry_id, digest),
    foreign key (fleet_id, lane_id) references lanes,
    foreign key (fleet_id, member_id) references members,
    foreign key (fleet_id, place_id) references cards,
    foreign key (fleet_id, booked_as) references entries,
    foreign key (fleet_id, decided_by) references members,
    check ((decision is null) = (decided_at is null)),
    check ((decision = 'booked') = (booked_as is not null))
);
create index set_aside_open on set_aside (fleet_id, set_aside_id) where decision is null;
create index set_aside_by_entry on set_aside (fleet_id, entry_id) where decision is null;

-- ---------------------------------------------------------------- devices

-- Since when nothing this phone hands over is booked unseen.
alter table lanes add column revoked_at timestamptz;

-- ---------------------------------------------------------------- the second wall

do $$
declare
    named text;
begin
    foreach named in array array['parked', 'parked_waits', 'set_aside'] loop
        execute format('alter table %I enable row level security', named);
        execute format('alter table %I force row level security', named);
        execute format(
            'create policy own_fleet on %I using (fleet_id = nullif(current_setting(''app.fleet'', true), '''')::uuid)',
            named);
        execute format('grant select, insert, update on %I to dropwise_server', named);
    end loop;
end
$$;
grant delete on parked, parked_waits to dropwise_server;
