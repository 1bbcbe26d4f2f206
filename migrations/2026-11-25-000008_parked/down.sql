-- Takes away what waits, and the order of booking.
drop table set_aside, parked_waits, parked;
alter table lanes drop column revoked_at;
drop index entries_in_order, entries_waiting, entries_of_unknown_kind;
alter table entries drop column booked_turn, drop column booked_line, drop column decided_by, drop column decided_at;
drop sequence entry_turns;
