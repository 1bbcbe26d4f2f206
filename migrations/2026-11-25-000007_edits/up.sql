-- Edits that meet: envelopes of entries, the stamps and the history of fields, jobs that are started and
-- finished, ids of deleted cards, and records that stand for the same bottle or pad.

-- What a phone wrote on the outside: null where it said no more than the floor's columns hold.
alter table entries add column envelope jsonb;
-- The rest of the verdict, so that a repeat gets all of it: {"pointer": text, "lost": [field]}.
alter table entries add column answer jsonb;
alter table entries drop constraint entries_verdict_check;
alter table entries add constraint entries_verdict_check
    check (verdict in ('taken', 'adjusted', 'yielded', 'refused', 'parked'));
-- The floor's second table check, under the name Postgres gave it.
alter table entries drop constraint entries_check1;
alter table entries add constraint entries_basis_check
    check ((verdict in ('taken', 'adjusted', 'yielded')) = (basis is not null));
grant update (answer) on entries to dropwise_server;

-- {field: {"stamp": text, "lane": id}} of the fields that were written since the card was made.
alter table cards add column field_stamps jsonb;

alter table jobs drop constraint jobs_state_check;
alter table jobs add constraint jobs_state_check
    check (state in ('booked', 'under_way', 'finished', 'settled', 'cancelled'));
drop index jobs_booked;
create index jobs_open on jobs (fleet_id, place_id, client_id, vehicle_id)
    where state in ('booked', 'under_way', 'finished');

-- Every value a field was given after its card was made, also those that lost to a later stamp.
create table field_history (
    fleet_id   uuid        not null references fleets,
    value_id   uuid        not null,
    -- No reference: what was lost stays readable when its card is deleted.
    card_id    uuid        not null,
    field      text        not null,
    -- JSON null where the field was emptied.
    value      jsonb       not null,
    stamp      text        not null,
    -- The nil id for the desk, which has no lane.
    lane_id    uuid        not null,
    member_id  uuid        not null,
    entry_id   uuid,
    outcome    text        not null check (outcome in ('won', 'lost')),
    at         timestamptz not null,
    decision   text        check (decision in ('keep', 'use_it')),
    decided_by uuid,
    decided_at timestamptz,
    primary key (fleet_id, value_id),
    foreign key (fleet_id, member_id) references members,
    foreign key (fleet_id, decided_by) references members,
    foreign key (fleet_id, entry_id) references entries deferrable initially deferred,
    check ((decision is null) = (decided_at is null)),
    check ((decision is null) = (decided_by is null)),
    check (decision is null or outcome = 'lost')
);
create index field_history_by_field on field_history (fleet_id, card_id, field, stamp, lane_id);
create index field_history_lost on field_history (fleet_id, value_id) where outcome = 'lost' and decision is null;

-- Ids of deleted cards, for ever: nothing is made again under one of them.
create table deleted_cards (
    fleet_id   uuid        not null references fleets,
    card_id    uuid        not null,
    kind       text        not null,
    member_id  uuid        not null,
    deleted_at timestamptz not null,
    primary key (fleet_id, card_id),
    foreign key (fleet_id, member_id) references members
);

do $$
declare
    named text;
begin
    foreach named in array array['field_history', 'deleted_cards'] loop
        execute format('alter table %I enable row level security', named);
        execute format('alter table %I force row level security', named);
        execute format(
            'create policy own_fleet on %I using (fleet_id = nullif(current_setting(''app.fleet'', true), '''')::uuid)',
            named);
        execute format('grant select, insert on %I to dropwise_server', named);
    end loop;
end
$$;
-- A value stays as it was written; only whether it lost, and what the office made of it, may change.
grant update (outcome, decision, decided_by, decided_at) on field_history to dropwise_server;
grant delete on cards, jobs to dropwise_server;
-- What lines refer to still stays: an item that has lines has a value, and a pad that has lines has a
-- state. Both are written with the lines, refer to the card by a foreign key, and are never deleted.
create or replace function keep_referred_to() returns trigger language plpgsql as $$
begin
    if tg_table_name = 'jobs' and tg_op = 'DELETE' then
        if not exists (select from cost_lines l where l.fleet_id = old.fleet_id and l.job_id = old.job_id) then
            return old;
        end if;
    end if;
    if tg_table_name = 'cards' and tg_op = 'DELETE' then
        -- Only rows of cards have a kind: asked in an expression of its own.
        if old.kind in ('item', 'pad')
            and not exists (select from stock_values v where v.fleet_id = old.fleet_id and v.item_id = old.card_id)
            and not exists (select from pad_states p where p.fleet_id = old.fleet_id and p.pad_id = old.card_id) then
            return old;
        end if;
    end if;
    raise foreign_key_violation using
        message = format('rows of %s stay as long as others refer to them', tg_table_name), table = tg_table_name;
end
$$;
-- Whether anything rests on a container is asked before it is deleted, and by its foreign key.
create index container_marks_by_container on container_marks (fleet_id, container_id);
