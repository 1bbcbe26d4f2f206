-- Takes the whole floor away again. Only for a database without work in it.
drop function fleet_of_handle(text);
alter table members drop constraint members_fleet_id_home_place_id_fkey;
drop table trail, heads, pad_lines, pad_states, container_marks, container_levels, cost_figures, cost_lines,
    use_days, stock_values, stock_levels, stock_lines, entries, jobs, card_links, cards, security_notes,
    sessions, lanes, pay_rates, entry_codes, passwords, members, fleets;
