-- The whole floor: fleets and who may enter, cards, entries, the books made from them, the trail phones read.
--
-- Every table starts with fleet_id, in its key and in each reference, so that no row can point into
-- another fleet; row-level security at the end of this file is the second wall.
-- Quantities: numeric(16,4). Amounts: numeric(18,6) in the fleet's currency. Levels of the bottle
-- filter: float8, an estimate and never money.

create table fleets (
    fleet_id   uuid        primary key,
    handle     text        not null check (handle ~ '^[a-z0-9][a-z0-9-]{1,39}$'),
    created_at timestamptz not null
);
-- The one name that is unique across fleets: it is what a person types before the fleet is known.
create unique index fleets_by_handle on fleets (handle);

-- ---------------------------------------------------------------- who may enter

create table members (
    fleet_id      uuid        not null references fleets,
    member_id     uuid        not null,
    handle        text        not null check (handle ~ '^[a-z0-9][a-z0-9._-]{1,39}$'),
    name          text        not null,
    role          text        not null check (role in ('owner', 'office', 'technician')),
    home_place_id uuid,
    version       bigint      not null default 1,
    retired_at    timestamptz,
    created_at    timestamptz not null,
    -- SHA-256 of what it was created with: the same creation sent again is recognised.
    created_digest bytea      not null,
    primary key (fleet_id, member_id),
    unique (fleet_id, handle)
);

create table passwords (
    fleet_id   uuid        not null,
    member_id  uuid        not null,
    phc        text        not null,
    changed_at timestamptz not null,
    primary key (fleet_id, member_id),
    foreign key (fleet_id, member_id) references members
);

-- One code in force per member: it lets them choose a first password, or a new one, once.
create table entry_codes (
    fleet_id  uuid        not null,
    member_id uuid        not null,
    -- SHA-256 of the code; never the code.
    code_hash bytea       not null,
    made_at   timestamptz not null,
    ends_at   timestamptz not null,
    used_at   timestamptz,
    primary key (fleet_id, member_id),
    unique (fleet_id, code_hash),
    foreign key (fleet_id, member_id) references members
);

create table pay_rates (
    fleet_id      uuid          not null,
    member_id     uuid          not null,
    from_on       date          not null,
    hourly_amount numeric(18,6) not null check (hourly_amount >= 0),
    -- Employer's cost on top of the wage, as a share of it: 0.18 is 18 %.
    burden_share  numeric(8,6)  not null check (burden_share between 0 and 5),
    primary key (fleet_id, member_id, from_on),
    foreign key (fleet_id, member_id) references members
);

create table lanes (
    fleet_id    uuid        not null,
    lane_id     uuid        not null,
    member_id   uuid        not null,
    name        text        not null,
    last_n      bigint      not null default 0,
    frozen_at   timestamptz,
    enrolled_at timestamptz not null,
    primary key (fleet_id, lane_id),
    foreign key (fleet_id, member_id) references members
);
create index lanes_by_member on lanes (fleet_id, member_id);

create table sessions (
    fleet_id      uuid        not null,
    session_id    uuid        not null,
    member_id     uuid        not null,
    -- SHA-256 of the refresh token in force and of the one before it; never the token.
    current_hash  bytea       not null,
    previous_hash bytea,
    -- How often it was renewed: how far back an old token is recognised as one of this family.
    renewals      bigint      not null default 0,
    rotated_at    timestamptz not null,
    started_at    timestamptz not null,
    ends_at       timestamptz not null,
    ended_at      timestamptz,
    end_reason    text,
    primary key (fleet_id, session_id),
    foreign key (fleet_id, member_id) references members
);
create index sessions_by_member on sessions (fleet_id, member_id);

create table security_notes (
    fleet_id  uuid        not null references fleets,
    note_id   uuid        not null,
    member_id uuid,
    what      text        not null,
    noted_at  timestamptz not null,
    primary key (fleet_id, note_id)
);

-- ---------------------------------------------------------------- cards

-- Records people edit. The body is a document because edits merge field by field; what the books
-- need from it is read under the card's lock and kept with the entry as its basis.
create table cards (
    fleet_id       uuid        not null references fleets,
    card_id        uuid        not null,
    kind           text        not null,
    version        bigint      not null,
    body           jsonb       not null,
    -- SHA-256 of the body it was created with: the same creation sent again is recognised.
    created_digest bytea       not null,
    created_at     timestamptz not null,
    edited_at      timestamptz not null,
    retired_at     timestamptz,
    primary key (fleet_id, card_id)
);
-- A member works from a place of their own fleet.
alter table members add foreign key (fleet_id, home_place_id) references cards;
create index cards_by_kind on cards (fleet_id, kind, card_id);
-- Lists leave out what is out of use; years of worn pads must not be walked over for a page of new ones.
create index cards_in_use on cards (fleet_id, kind, card_id) where retired_at is null;

-- Which card names which: keeps every reference inside the fleet and answers "what uses this?".
create table card_links (
    fleet_id  uuid not null,
    card_id   uuid not null,
    target_id uuid not null,
    primary key (fleet_id, card_id, target_id),
    foreign key (fleet_id, card_id) references cards,
    foreign key (fleet_id, target_id) references cards
);
create index card_links_by_target on card_links (fleet_id, target_id);

-- What lists and months need of a job card, in columns.
create table jobs (
    fleet_id           uuid          not null,
    job_id             uuid          not null,
    place_id           uuid          not null,
    client_id          uuid          not null,
    vehicle_id         uuid          not null,
    state              text          not null check (state in ('booked', 'settled', 'cancelled')),
    starts_at          timestamptz   not null,
    ends_at            timestamptz   not null,
    month              date          not null,
    net_revenue_amount numeric(18,6) not null,
    primary key (fleet_id, job_id),
    foreign key (fleet_id, job_id) references cards,
    foreign key (fleet_id, place_id) references cards,
    foreign key (fleet_id, client_id) references cards,
    foreign key (fleet_id, vehicle_id) references cards,
    check (ends_at > starts_at)
);
create index jobs_by_month on jobs (fleet_id, month, job_id);
create index jobs_by_place on jobs (fleet_id, place_id, starts_at);
create index jobs_of_place on jobs (fleet_id, place_id, job_id);
create index jobs_booked on jobs (fleet_id, place_id, client_id, vehicle_id) where state = 'booked';
create index jobs_by_start on jobs (fleet_id, starts_at);
create index jobs_by_client on jobs (fleet_id, client_id);
create index jobs_by_vehicle on jobs (fleet_id, vehicle_id);

-- ---------------------------------------------------------------- entries

create table entries (
    fleet_id    uuid        not null,
    entry_id    uuid        not null,
    kind        text        not null,
    form        smallint    not null,
    lane_id     uuid,
    n           bigint      check (n >= 1),
    member_id   uuid        not null,
    place_id    uuid,
    happened_at timestamptz not null,
    received_at timestamptz not null,
    body        jsonb       not null,
    -- SHA-256 of the canonical JSON as handed over: a repeat is recognised, a forgery too.
    digest      bytea       not null,
    verdict     text        not null check (verdict in ('taken', 'refused', 'parked')),
    code        text,
    sentence    text,
    -- What the cards said when the entry was booked: rebuilding the books needs nothing else.
    basis       jsonb,
    reversed_by uuid,
    primary key (fleet_id, entry_id),
    unique (fleet_id, lane_id, n),
    foreign key (fleet_id, lane_id) references lanes,
    foreign key (fleet_id, member_id) references members,
    foreign key (fleet_id, reversed_by) references entries deferrable initially deferred,
    check ((lane_id is null) = (n is null)),
    check ((verdict = 'taken') = (basis is not null))
);
create index entries_parked on entries (fleet_id, received_at) where verdict <> 'taken';

-- ---------------------------------------------------------------- books (append-only lines, and the figures they keep)

create table stock_lines (
    fleet_id uuid          not null,
    entry_id uuid          not null,
    line     integer       not null,
    item_id  uuid          not null,
    place_id uuid          not null,
    what     text          not null,
    quantity numeric(16,4) not null,
    amount   numeric(26,12) not null,
    job_id   uuid,
    booked_on date         not null,
    primary key (fleet_id, entry_id, line),
    foreign key (fleet_id, entry_id) references entries,
    foreign key (fleet_id, item_id) references cards,
    foreign key (fleet_id, place_id) references cards
);
create index stock_lines_by_item on stock_lines (fleet_id, item_id, place_id, booked_on);

create table stock_levels (
    fleet_id uuid          not null,
    item_id  uuid          not null,
    place_id uuid          not null,
    quantity numeric(16,4) not null,
    primary key (fleet_id, item_id, place_id),
    foreign key (fleet_id, item_id) references cards,
    foreign key (fleet_id, place_id) references cards
);

create table stock_values (
    fleet_id         uuid          not null,
    item_id          uuid          not null,
    quantity         numeric(16,4) not null,
    amount           numeric(26,12) not null,
    last_unit_amount numeric(26,12),
    primary key (fleet_id, item_id),
    foreign key (fleet_id, item_id) references cards,
    check (quantity <> 0 or amount = 0)
);

-- What was used up, per day: the demand that run-out days are worked out from.
create table use_days (
    fleet_id uuid          not null,
    item_id  uuid          not null,
    place_id uuid          not null,
    used_on  date          not null,
    quantity numeric(16,4) not null,
    primary key (fleet_id, item_id, place_id, used_on),
    foreign key (fleet_id, item_id) references cards,
    foreign key (fleet_id, place_id) references cards
);

create table cost_lines (
    fleet_id uuid          not null,
    entry_id uuid          not null,
    line     integer       not null,
    job_id   uuid,
    what     text          not null,
    subject_id uuid,
    quantity numeric(16,4) not null,
    unit     text          not null,
    amount   numeric(26,12) not null,
    booked_on date         not null,
    primary key (fleet_id, entry_id, line),
    foreign key (fleet_id, entry_id) references entries,
    foreign key (fleet_id, job_id) references jobs
);
create index cost_lines_by_job on cost_lines (fleet_id, job_id, entry_id, line) where job_id is not null;
create index cost_lines_without_job on cost_lines (fleet_id, booked_on, entry_id, line) where job_id is null;

-- The same lines summed per month as they are written. The nil id stands for "no job".
create table cost_figures (
    fleet_id uuid          not null references fleets,
    month    date          not null,
    job_id   uuid          not null,
    what     text          not null,
    quantity numeric(16,4) not null,
    amount   numeric(26,12) not null,
    primary key (fleet_id, month, job_id, what)
);
create index cost_figures_by_job on cost_figures (fleet_id, job_id);

create table container_levels (
    fleet_id        uuid   not null,
    container_id    uuid   not null,
    item_id         uuid   not null,
    place_id        uuid   not null,
    dose            text   not null,
    -- What one dose was taken to be when the container was opened: sets how uneven doses are held to be.
    prior_ml_per_dose float8 not null,
    -- What was expected of its own doses then: the other containers' voices, not to be pooled again.
    began_ml_per_dose float8 not null,
    began_sd_ml_per_dose float8 not null,
    remaining_ml    float8 not null,
    ml_per_dose     float8 not null,
    -- Covariance of (remaining_ml, ml_per_dose): p00 ml^2, p01 ml^2/dose, p11 ml^2/dose^2.
    p00             float8 not null,
    p01             float8 not null,
    p11             float8 not null,
    weigh_ins       integer not null,
    flagged         integer not null,
    -- Since the last trusted weigh-in: doses counted, and millilitres drawn per job.
    doses_since     bigint not null,
    draws_since     jsonb  not null,
    last_weigh_id   uuid,
    opened_at       timestamptz not null,
    primary key (fleet_id, container_id),
    foreign key (fleet_id, container_id) references cards,
    foreign key (fleet_id, item_id) references cards,
    foreign key (fleet_id, place_id) references cards
);
create index container_levels_by_item on container_levels (fleet_id, item_id, container_id);

-- The estimate as it stood before a weigh-in or an opening, so that either can be reversed.
create table container_marks (
    fleet_id     uuid  not null,
    entry_id     uuid  not null,
    container_id uuid  not null,
    before       jsonb,
    primary key (fleet_id, entry_id),
    foreign key (fleet_id, entry_id) references entries,
    foreign key (fleet_id, container_id) references cards
);

create table pad_states (
    fleet_id         uuid          not null,
    pad_id           uuid          not null,
    item_id          uuid          not null,
    place_id         uuid          not null,
    cycles           integer       not null,
    cycles_since_wash integer      not null,
    washes           integer       not null,
    load_ml          numeric(16,4) not null,
    worked_m2        numeric(16,4) not null,
    -- What it was worth at first use, and how much of that has been charged to jobs since.
    cost_amount      numeric(26,12) not null,
    charged_amount   numeric(26,12) not null,
    first_used_at    timestamptz   not null,
    retired_at       timestamptz,
    retired_why      text,
    primary key (fleet_id, pad_id),
    foreign key (fleet_id, pad_id) references cards,
    foreign key (fleet_id, item_id) references cards,
    foreign key (fleet_id, place_id) references cards
);

create table pad_lines (
    fleet_id uuid          not null,
    entry_id uuid          not null,
    line     integer       not null,
    pad_id   uuid          not null,
    job_id   uuid,
    cycles   integer       not null,
    cycles_since_wash integer not null,
    washes   integer       not null,
    load_ml  numeric(16,4) not null,
    worked_m2 numeric(16,4) not null,
    amount   numeric(26,12) not null,
    primary key (fleet_id, entry_id, line),
    foreign key (fleet_id, entry_id) references entries,
    foreign key (fleet_id, pad_id) references cards
);
create index pad_lines_by_pad on pad_lines (fleet_id, pad_id, entry_id, line);

-- ---------------------------------------------------------------- the trail

-- One counter per fleet, taken as the last statement of every writing transaction.
create table heads (
    fleet_id uuid   primary key references fleets,
    head     bigint not null
) with (fillfactor = 50);

-- The latest state of each record, as the phones of one audience may see it. `turn` is the head at
-- the end of the transaction that wrote the row.
create table trail (
    fleet_id    uuid   not null references fleets,
    audience_id uuid   not null,
    record_id   uuid   not null,
    kind        text   not null,
    position    bigint not null,
    turn        bigint not null,
    body        jsonb  not null,
    primary key (fleet_id, audience_id, record_id, kind)
);
create unique index trail_in_order on trail (fleet_id, position);
create index trail_by_audience on trail (fleet_id, audience_id, position);

-- ---------------------------------------------------------------- the second wall

do $$
begin
    if not exists (select from pg_roles where rolname = 'dropwise_server') then
        create role dropwise_server nologin nosuperuser nobypassrls nocreatedb nocreaterole;
    end if;
end
$$;

revoke create on schema public from public;
grant usage on schema public to dropwise_server;

do $$
declare
    named text;
begin
    foreach named in array array[
        'fleets', 'members', 'passwords', 'entry_codes', 'pay_rates', 'lanes', 'sessions', 'security_notes', 'cards',
        'card_links', 'jobs', 'entries', 'stock_lines', 'stock_levels', 'stock_values', 'use_days',
        'cost_lines', 'cost_figures', 'container_levels', 'container_marks', 'pad_states', 'pad_lines',
        'heads', 'trail'
    ] loop
        execute format('alter table %I enable row level security', named);
        execute format('alter table %I force row level security', named);
        -- After a transaction the setting reads '' and not null; '' must mean "no fleet", not an error.
        execute format(
            'create policy own_fleet on %I using (fleet_id = nullif(current_setting(''app.fleet'', true), '''')::uuid)',
            named);
        execute format('grant select, insert on %I to dropwise_server', named);
    end loop;
    -- What may change after it was written. Lines of the books and security notes may not.
    foreach named in array array[
        'members', 'passwords', 'entry_codes', 'lanes', 'sessions', 'cards', 'jobs', 'entries', 'stock_levels',
        'stock_values', 'use_days', 'cost_figures', 'container_levels', 'pad_states', 'heads', 'trail'
    ] loop
        execute format('grant update on %I to dropwise_server', named);
    end loop;
end
$$;
grant delete on card_links, container_levels to dropwise_server;
-- Of an entry, only the note that it was reversed, and the decision on a parked one, may change.
revoke update on entries from dropwise_server;
grant update (reversed_by, verdict, code, sentence, basis) on entries to dropwise_server;

-- Signing in starts from a fleet's handle, before any fleet is set; this is the only door through the wall.
create function fleet_of_handle(named text) returns uuid
    language sql stable security definer
    set search_path = pg_catalog, public, pg_temp
    as $$ select fleet_id from public.fleets where handle = named $$;
revoke all on function fleet_of_handle(text) from public;
grant execute on function fleet_of_handle(text) to dropwise_server;
-- The function runs as the tables' owner, who is bound by FORCE as well: let that role, and no other, look.
create policy door on fleets for select to current_user using (true);
