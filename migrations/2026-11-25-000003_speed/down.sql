-- Back to a foreign key for each reference, and documents in their other form.
alter table lanes reset (fillfactor);
alter table pad_states reset (fillfactor);
alter table container_levels reset (fillfactor);
alter table cost_figures reset (fillfactor);
alter table use_days reset (fillfactor);
alter table stock_values reset (fillfactor);
alter table stock_levels reset (fillfactor);

create index pad_lines_by_pad on pad_lines (fleet_id, pad_id, entry_id, line);
create index stock_lines_by_item on stock_lines (fleet_id, item_id, place_id, booked_on);

alter table trail alter body type jsonb;
alter table entries alter body type jsonb, alter basis type jsonb;

do $$
declare
    named text;
begin
    foreach named in array array['entries', 'stock_lines', 'cost_lines', 'pad_lines', 'trail'] loop
        execute format('drop trigger check_references on %I', named);
        execute format('drop function check_%s()', named);
    end loop;
    foreach named in array array['entries', 'lanes', 'members', 'heads', 'jobs', 'cards'] loop
        execute format('drop trigger keep_row on %I', named);
        execute format('drop trigger keep_key on %I', named);
    end loop;
end
$$;
drop function keep_referred_to();
drop function refuse_reference(text, text);

alter table trail add foreign key (fleet_id) references fleets;
alter table pad_lines
    add foreign key (fleet_id, entry_id) references entries,
    add foreign key (fleet_id, pad_id) references cards;
alter table cost_lines
    add foreign key (fleet_id, entry_id) references entries,
    add foreign key (fleet_id, job_id) references jobs;
alter table stock_lines
    add foreign key (fleet_id, entry_id) references entries,
    add foreign key (fleet_id, item_id) references cards,
    add foreign key (fleet_id, place_id) references cards;
alter table entries
    add foreign key (fleet_id, lane_id) references lanes,
    add foreign key (fleet_id, member_id) references members;
