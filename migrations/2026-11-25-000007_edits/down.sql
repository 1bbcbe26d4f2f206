-- Takes the step back. Entries and jobs in states the floor does not know stop it.
revoke delete on cards, jobs from dropwise_server;
drop table field_history, deleted_cards;
create or replace function keep_referred_to() returns trigger language plpgsql as $$
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
drop index container_marks_by_container;
drop index jobs_open;
create index jobs_booked on jobs (fleet_id, place_id, client_id, vehicle_id) where state = 'booked';
alter table jobs drop constraint jobs_state_check;
alter table jobs add constraint jobs_state_check check (state in ('booked', 'settled', 'cancelled'));
alter table cards drop column field_stamps;
alter table entries drop constraint entries_basis_check;
alter table entries drop constraint entries_verdict_check;
alter table entries add constraint entries_verdict_check check (verdict in ('taken', 'refused', 'parked'));
alter table entries add constraint entries_check1 check ((verdict = 'taken') = (basis is not null));
alter table entries drop column answer, drop column envelope;
