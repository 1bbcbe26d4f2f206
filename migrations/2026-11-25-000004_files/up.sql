-- Files of a fleet: photos of its jobs, later the suppliers' sheets. The bytes lie in a folder or a
-- bucket under names made by the server; here stands whose they are, what they must be and who refers
-- to them.
--
-- A file is named by the SHA-256 of what was sent, within its fleet. What is kept differs from it: where
-- a photo was taken, and with what, is removed on intake.

-- How much room a fleet's files take, reserved ones included; and through which day of names made the
-- store has been compared with the tables below.
create table file_room (
    fleet_id uuid   primary key references fleets,
    bytes    bigint not null check (bytes >= 0),
    files    bigint not null check (files >= 0),
    swept_on date
);

-- A file on its way in. Each member's way is their own: nobody can spoil another's.
create table uploads (
    fleet_id       uuid        not null,
    sha256         bytea       not null check (octet_length(sha256) = 32),
    member_id      uuid        not null,
    upload_id      uuid        not null,
    size_bytes     bigint      not null check (size_bytes >= 1),
    media_type     text        not null check (media_type in ('image/jpeg', 'image/png', 'application/pdf')),
    what           text        not null check (what in ('photo', 'sheet')),
    -- What the sender calls it: shown when it is fetched, never part of a name in the store.
    name           text,
    received_bytes bigint      not null default 0 check (received_bytes between 0 and size_bytes),
    reserved_at    timestamptz not null,
    touched_at     timestamptz not null,
    -- The whole file came from this member: they have shown that it is theirs to see.
    finished_at    timestamptz,
    primary key (fleet_id, sha256, member_id),
    unique (fleet_id, upload_id),
    foreign key (fleet_id, member_id) references members
);
create index uploads_open on uploads (fleet_id, touched_at) where finished_at is null;

create table upload_parts (
    fleet_id     uuid   not null,
    upload_id    uuid   not null,
    offset_bytes bigint not null check (offset_bytes >= 0),
    size_bytes   bigint not null check (size_bytes >= 1),
    -- Its name in the store: the day it was made, and an id.
    made_on      date   not null,
    part_id      uuid   not null,
    primary key (fleet_id, upload_id, offset_bytes),
    unique (fleet_id, part_id),
    foreign key (fleet_id, upload_id) references uploads (fleet_id, upload_id)
);

create table files (
    fleet_id    uuid        not null references fleets,
    sha256      bytea       not null check (octet_length(sha256) = 32),
    made_on     date        not null,
    file_id     uuid        not null,
    media_type  text        not null check (media_type in ('image/jpeg', 'image/png', 'application/pdf')),
    what        text        not null check (what in ('photo', 'sheet')),
    name        text,
    sent_bytes  bigint      not null check (sent_bytes >= 1),
    kept_bytes  bigint      not null check (kept_bytes >= 1),
    kept_sha256 bytea       not null check (octet_length(kept_sha256) = 32),
    kept_at     timestamptz not null,
    -- Since when the bytes in the store are known not to be those that were kept.
    damaged_at  timestamptz,
    primary key (fleet_id, sha256),
    unique (fleet_id, file_id)
);
create index files_by_age on files (fleet_id, kept_at);

-- Which entry refers to which file. The file may come later, so there is no reference to `files`.
create table file_uses (
    fleet_id uuid  not null,
    entry_id uuid  not null,
    job_id   uuid  not null,
    sha256   bytea not null check (octet_length(sha256) = 32),
    primary key (fleet_id, entry_id),
    foreign key (fleet_id, entry_id) references entries,
    foreign key (fleet_id, job_id) references jobs
);
create index file_uses_by_file on file_uses (fleet_id, sha256);
create index file_uses_by_job on file_uses (fleet_id, job_id, entry_id);

-- ---------------------------------------------------------------- the second wall

do $$
declare
    named text;
begin
    foreach named in array array['file_room', 'uploads', 'upload_parts', 'files', 'file_uses'] loop
        execute format('alter table %I enable row level security', named);
        execute format('alter table %I force row level security', named);
        execute format(
            'create policy own_fleet on %I using (fleet_id = nullif(current_setting(''app.fleet'', true), '''')::uuid)',
            named);
        execute format('grant select, insert on %I to dropwise_server', named);
    end loop;
end
$$;
-- What an entry refers to never changes; whatever is on its way, or is kept and no longer needed, goes.
grant update, delete on uploads, files to dropwise_server;
grant update on file_room to dropwise_server;
grant delete on upload_parts to dropwise_server;
