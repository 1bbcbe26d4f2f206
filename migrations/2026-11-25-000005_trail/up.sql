-- Reading, complete: which history this is, how far back it reaches, what has left and what is deleted.

-- Where this database lives: the cluster, its timeline, the database in it, the table in that. Restoring
-- a dump, or a base backup to an earlier point, changes at least one of them; a plain restart, none.
-- The timeline is the one being written, which after a promotion is right before the next checkpoint is.
create function dwelling() returns text
    language sql volatile
    set search_path = pg_catalog, public, pg_temp
    as $$
        select concat_ws('/',
            (select system_identifier from pg_control_system()),
            case when pg_is_in_recovery() then (select timeline_id from pg_control_checkpoint())
                 else ('x' || left(pg_walfile_name(pg_current_wal_insert_lsn()), 8))::bit(32)::int end,
            (select oid from pg_database where datname = current_database()),
            'public.heads'::regclass::oid)
    $$;
grant execute on function dwelling() to dropwise_server;

alter table heads
    -- The highest position of a tombstone that has been swept: bookmarks below it have missed something.
    add column floor bigint not null default 0,
    -- The identity of this history. Another dwelling than the one noted beside it asks for a new one.
    add column era uuid not null default gen_random_uuid(),
    add column dwelling text not null default dwelling(),
    -- Up to when a backup that has been verified covers this database.
    add column backed_up_to timestamptz,
    add check (floor between 0 and head);

-- Which audiences a member reads; raised with every change of them.
alter table members add column scope_revision bigint not null default 1;

-- Up to which number a lane's entries were found to be covered by a replica or backup.
alter table lanes add column safe_n bigint not null default 0;

alter table trail
    -- `left`: this audience has lost the record to another; `deleted`: nobody has it any more.
    add column state text not null default 'here' check (state in ('here', 'left', 'deleted')),
    -- By the database's clock: tombstones are kept for days, so a second is nothing.
    add column told_at timestamptz not null default now();

-- The owner is behind the wall as well, unless a superuser: open it for what was there before.
alter table trail no force row level security;
update trail set state = 'left', body = '{}' where body::jsonb = '{"left": true}';
alter table trail force row level security;

-- A fresh copy walks an audience kind by kind; the key serves it, so that writing pays for no other index.
alter table trail drop constraint trail_pkey;
alter table trail add primary key (fleet_id, audience_id, kind, record_id);
-- Only tombstones are in it: what is here pays nothing.
create index trail_gone on trail (fleet_id, told_at) where state <> 'here';
grant delete on trail to dropwise_server;

-- How far a standby has replayed, for `safe_through`. What other roles' sessions do is nobody's business,
-- so this is a door for one number of the standby that is named, and null unless the owner may see it.
create function standby_replay_lsn(named text) returns bigint
    language sql stable security definer
    set search_path = pg_catalog, public, pg_temp
    as $$ select (min(replay_lsn) - '0/0'::pg_lsn)::bigint from pg_stat_replication
          where application_name = named and state = 'streaming' $$;
revoke all on function standby_replay_lsn(text) from public;
grant execute on function standby_replay_lsn(text) to dropwise_server;
