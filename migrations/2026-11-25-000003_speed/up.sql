-- What a handover of five hundred entries pays for and nobody needs.
--
-- Measured on Postgres 15 as one backend's processor time per entry of section work, all its rows: 92 us;
-- without any foreign key on the rows below 37 us; with the checks of this step 42 us.

-- ---------------------------------------------------------------- references, looked at once per statement
--
-- A foreign key runs a query of its own for every row: eleven for one section worked, and five hundred
-- rows of a handover name the same lane, member, van, item, pad and job. The same question asked once per
-- statement, of the distinct ids in it, gives the same answer, because what is referred to never goes
-- away: the server's role may not delete entries, cards, jobs, lanes, members or heads, and below nobody
-- may while a line could refer to them, not even the owner by mistake. The fleet comes first in each of them as before, and the functions
-- ask with the rights of whoever inserts, so that row-level security hides another fleet's rows from the
-- question as well. The plans are held to the primary keys: they are made once per connection, perhaps
-- while a table is small.

alter table entries
    drop constraint entries_fleet_id_lane_id_fkey,
    drop constraint entries_fleet_id_member_id_fkey;
alter table stock_lines
    drop constraint stock_lines_fleet_id_entry_id_fkey,
    drop constraint stock_lines_fleet_id_item_id_fkey,
    drop constraint stock_lines_fleet_id_place_id_fkey;
alter table cost_lines
    drop constraint cost_lines_fleet_id_entry_id_fkey,
    drop constraint cost_lines_fleet_id_job_id_fkey;
alter table pad_lines
    drop constraint pad_lines_fleet_id_entry_id_fkey,
    drop constraint pad_lines_fleet_id_pad_id_fkey;
alter table trail
    drop constraint trail_fleet_id_fkey;

create function refuse_reference(from_table text, to_table text) returns void
    language plpgsql as $$
begin
    raise foreign_key_violation using
        message = format('rows of %s refer to %s that are not there', from_table, to_table),
        table = from_table;
end
$$;

create function check_entries() returns trigger language plpgsql
    set enable_seqscan = off set enable_hashjoin = off set enable_mergejoin = off as $$
declare
    fleet uuid;
    named uuid[];
begin
    for fleet in select distinct fleet_id from made loop
        named := array(select distinct member_id from made where fleet_id = fleet);
        if exists (select from unnest(named) as m(id)
                   where not exists (select from members r where r.fleet_id = fleet and r.member_id = m.id)) then
            perform refuse_reference('entries', 'members');
        end if;
        named := array(select distinct lane_id from made where fleet_id = fleet and lane_id is not null);
        if exists (select from unnest(named) as m(id)
                   where not exists (select from lanes r where r.fleet_id = fleet and r.lane_id = m.id)) then
            perform refuse_reference('entries', 'lanes');
        end if;
    end loop;
    return null;
end
$$;

create function check_stock_lines() returns trigger language plpgsql
    set enable_seqscan = off set enable_hashjoin = off set enable_mergejoin = off as $$
declare
    fleet uuid;
    named uuid[];
begin
    for fleet in select distinct fleet_id from made loop
        named := array(select distinct entry_id from made where fleet_id = fleet);
        if exists (select from unnest(named) as m(id)
                   where not exists (select from entries r where r.fleet_id = fleet and r.entry_id = m.id)) then
            perform refuse_reference('stock_lines', 'entries');
        end if;
        named := array(select item_id from made where fleet_id = fleet
                        union select place_id from made where fleet_id = fleet);
        if exists (select from unnest(named) as m(id)
                   where not exists (select from cards r where r.fleet_id = fleet and r.card_id = m.id)) then
            perform refuse_reference('stock_lines', 'cards');
        end if;
    end loop;
    return null;
end
$$;

create function check_cost_lines() returns trigger language plpgsql
    set enable_seqscan = off set enable_hashjoin = off set enable_mergejoin = off as $$
declare
    fleet uuid;
    named uuid[];
begin
    for fleet in select distinct fleet_id from made loop
        named := array(select distinct entry_id from made where fleet_id = fleet);
        if exists (select from unnest(named) as m(id)
                   where not exists (select from entries r where r.fleet_id = fleet and r.entry_id = m.id)) then
            perform refuse_reference('cost_lines', 'entries');
        end if;
        named := array(select distinct job_id from made where fleet_id = fleet and job_id is not null);
        if exists (select from unnest(named) as m(id)
                   where not exists (select from jobs r where r.fleet_id = fleet and r.job_id = m.id)) then
            perform refuse_reference('cost_lines', 'jobs');
        end if;
    end loop;
    return null;
end
$$;

create function check_pad_lines() returns trigger language plpgsql
    set enable_seqscan = off set enable_hashjoin = off set enable_mergejoin = off as $$
declare
    fleet uuid;
    named uuid[];
begin
    for fleet in select distinct fleet_id from made loop
        named := array(select distinct entry_id from made where fleet_id = fleet);
        if exists (select from unnest(named) as m(id)
                   where not exists (select from entries r where r.fleet_id = fleet and r.entry_id = m.id)) then
            perform refuse_reference('pad_lines', 'entries');
        end if;
        named := array(select distinct pad_id from made where fleet_id = fleet);
        if exists (select from unnest(named) as m(id)
                   where not exists (select from cards r where r.fleet_id = fleet and r.card_id = m.id)) then
            perform refuse_reference('pad_lines', 'cards');
        end if;
    end loop;
    return null;
end
$$;

-- A fleet's counter refers to the fleet, and the trail to the counter it is numbered by.
create function check_trail() returns trigger language plpgsql
    set enable_seqscan = off set enable_hashjoin = off set enable_mergejoin = off as $$
declare
    fleet uuid;
begin
    for fleet in select distinct fleet_id from made loop
        if not exists (select from heads r where r.fleet_id = fleet) then
            perform refuse_reference('trail', 'heads');
        end if;
    end loop;
    return null;
end
$$;

create function keep_referred_to() returns trigger language plpgsql as $$
begin
    if tg_table_name = 'jobs' and tg_op = 'DELETE' then
        if not exists (select from cost_lines l where l.fleet_id = old.fleet_id and l.job_id = old.job_id) then
            return old;
        end if;
    end if;
    raise foreign_key_violation using
        message = format('rows of %s stay as long as others refer to them', tg_table_name), table = tg_table_name;
end
$$;

do $$
declare
    named text;
begin
    foreach named in array array['entries', 'stock_lines', 'cost_lines', 'pad_lines', 'trail'] loop
        execute format(
            'create trigger check_references after insert on %1$I referencing new table as made
             for each statement execute function check_%1$s()', named);
    end loop;
end
$$;

-- What is referred to stays, and keeps its key.
create trigger keep_row before delete on entries for each row execute function keep_referred_to();
create trigger keep_row before delete on lanes for each row execute function keep_referred_to();
create trigger keep_row before delete on members for each row execute function keep_referred_to();
create trigger keep_row before delete on heads for each row execute function keep_referred_to();
create trigger keep_row before delete on jobs for each row execute function keep_referred_to();
create trigger keep_row before delete on cards for each row when (old.kind in ('item', 'place', 'pad'))
    execute function keep_referred_to();
create trigger keep_key before update on entries for each row
    when ((old.fleet_id, old.entry_id) is distinct from (new.fleet_id, new.entry_id)) execute function keep_referred_to();
create trigger keep_key before update on lanes for each row
    when ((old.fleet_id, old.lane_id) is distinct from (new.fleet_id, new.lane_id)) execute function keep_referred_to();
create trigger keep_key before update on members for each row
    when ((old.fleet_id, old.member_id) is distinct from (new.fleet_id, new.member_id)) execute function keep_referred_to();
create trigger keep_key before update on heads for each row
    when (old.fleet_id is distinct from new.fleet_id) execute function keep_referred_to();
create trigger keep_key before update on jobs for each row
    when ((old.fleet_id, old.job_id) is distinct from (new.fleet_id, new.job_id)) execute function keep_referred_to();
create trigger keep_key before update on cards for each row
    when ((old.fleet_id, old.card_id) is distinct from (new.fleet_id, new.card_id)) execute function keep_referred_to();

-- ---------------------------------------------------------------- documents that only pass through

-- Nothing asks into these in SQL: they are written once and read whole. Kept as text, they need no turning
-- into another form on the way in nor back on the way out, 4 us of the 42.
alter table entries alter body type json, alter basis type json;
alter table trail alter body type json;

-- ---------------------------------------------------------------- indexes nobody reads by

-- Lines are read by entry and by job. What an item or a pad came to is kept as figures.
drop index stock_lines_by_item;
drop index pad_lines_by_pad;

-- ---------------------------------------------------------------- figures that change in place

-- Written again with every handover: with room on the page the new version needs no index entry, and the
-- old one is cleared away in passing.
alter table stock_levels set (fillfactor = 50);
alter table stock_values set (fillfactor = 50);
alter table use_days set (fillfactor = 70);
alter table cost_figures set (fillfactor = 70);
alter table container_levels set (fillfactor = 50);
alter table pad_states set (fillfactor = 50);
alter table lanes set (fillfactor = 70);
