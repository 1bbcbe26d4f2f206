-- Takes the whole floor away again. Only for a database without work in it.
drop function fleet_of_handle(text);
drop table trail, heads, pad_lines, pad_states, container_marks, container_levels, cost_figures, cost_lines,
    use_days, stock_values, stock_levels, stock_lines, entries, jobs, card_links, cards, security_notes,
    sessions, lanes, pay_rates, passwords, members, fleets;
