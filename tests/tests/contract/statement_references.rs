//! References that are looked at once per statement (migration `000003_speed`) hold like foreign keys:
//! nothing refers to another fleet's row, nor to one that is not there, and what is referred to stays.

use end_to_end::TestDb;
use postgres::{Client, Transaction, error::SqlState};
use uuid::Uuid;

/// One fleet's row in each table that others refer to.
#[derive(Clone, Copy)]
struct Rows {
    fleet: Uuid,
    member: Uuid,
    lane: Uuid,
    card: Uuid,
    job: Uuid,
    entry: Uuid,
}

fn planted(owner: &mut Client, handle: &str) -> Rows {
    let id = Uuid::new_v4;
    let rows = Rows { fleet: id(), member: id(), lane: id(), card: id(), job: id(), entry: id() };
    let Rows { fleet, member, lane, card, job, entry } = rows;
    owner
        .batch_execute(&format!(
            "insert into fleets values ('{fleet}', '{handle}', now());
             insert into heads values ('{fleet}', 0);
             insert into members (fleet_id, member_id, handle, name, role, created_at, created_digest)
                 values ('{fleet}', '{member}', 'owner', 'An owner', 'owner', now(), '');
             insert into lanes (fleet_id, lane_id, member_id, name, enrolled_at)
                 values ('{fleet}', '{lane}', '{member}', 'A phone', now());
             insert into cards (fleet_id, card_id, kind, version, body, created_digest, created_at, edited_at)
                 values ('{fleet}', '{card}', 'item', 1, '{{}}', '', now(), now()),
                        ('{fleet}', '{job}', 'job', 1, '{{}}', '', now(), now());
             insert into jobs (fleet_id, job_id, place_id, client_id, vehicle_id, state, starts_at, ends_at, month,
                               net_revenue_amount)
                 values ('{fleet}', '{job}', '{card}', '{card}', '{card}', 'booked', now(), now() + interval '1 h',
                         '2026-03-01', 0);
             {}",
            entry_of(fleet, entry, member, Some(lane), 1)
        ))
        .expect("a fleet's rows");
    rows
}

fn entry_of(fleet: Uuid, entry: Uuid, member: Uuid, lane: Option<Uuid>, n: i64) -> String {
    let (lane, n) = lane.map_or(("null".into(), "null".into()), |lane| (format!("'{lane}'"), n.to_string()));
    format!(
        "insert into entries (fleet_id, entry_id, kind, form, lane_id, n, member_id, happened_at, received_at, body,
                              digest, verdict, basis)
         values ('{fleet}', '{entry}', 'trip', 1, {lane}, {n}, '{member}', now(), now(), '{{}}', '', 'taken', '{{}}')"
    )
}

fn stock(fleet: Uuid, entry: Uuid, item: Uuid, place: Uuid) -> String {
    format!(
        "insert into stock_lines values ('{fleet}', '{entry}', 1, '{item}', '{place}', 'use', 1, 1, null, '2026-03-02')"
    )
}

fn cost(fleet: Uuid, entry: Uuid, job: Uuid) -> String {
    format!(
        "insert into cost_lines values ('{fleet}', '{entry}', 1, '{job}', 'pad', null, 1, 'ml', 1, '2026-03-02')"
    )
}

fn pad(fleet: Uuid, entry: Uuid, pad: Uuid) -> String {
    format!("insert into pad_lines values ('{fleet}', '{entry}', 1, '{pad}', null, 1, 1, 0, 1, 1, 1)")
}

fn trail(fleet: Uuid) -> String {
    let id = Uuid::new_v4();
    format!("insert into trail values ('{fleet}', '{id}', '{id}', 'entry', 1, 1, '{{}}')")
}

fn refused(mut tx: Transaction<'_>, sql: &str) {
    let error = tx.batch_execute(sql).expect_err(sql);
    assert_eq!(error.code(), Some(&SqlState::FOREIGN_KEY_VIOLATION), "{sql}: {error}");
}

#[test]
fn no_line_refers_to_another_fleets_row_nor_to_one_that_is_not_there() {
    let db = TestDb::fresh();
    let mut owner = db.as_owner();
    let ours = planted(&mut owner, "ours");
    let theirs = planted(&mut owner, "theirs");
    let (fleet, entry, new) = (ours.fleet, ours.entry, Uuid::new_v4());
    let fit = [
        entry_of(fleet, new, ours.member, Some(ours.lane), 2),
        entry_of(fleet, new, ours.member, None, 0),
        stock(fleet, entry, ours.card, ours.card),
        cost(fleet, entry, ours.job),
        pad(fleet, entry, ours.card),
        trail(fleet),
    ];
    let nowhere = Uuid::new_v4();
    let mut wrong = vec![trail(nowhere)];
    for other in [theirs, Rows { fleet, ..all(nowhere) }] {
        wrong.extend([
            entry_of(fleet, new, other.member, None, 0),
            entry_of(fleet, new, ours.member, Some(other.lane), 2),
            stock(fleet, other.entry, ours.card, ours.card),
            stock(fleet, entry, other.card, ours.card),
            stock(fleet, entry, ours.card, other.card),
            cost(fleet, other.entry, ours.job),
            cost(fleet, entry, other.job),
            pad(fleet, other.entry, ours.card),
            pad(fleet, entry, other.card),
        ]);
    }
    // As the server, behind both walls; and as the owner, who passes the second one.
    let mut server = db.as_server();
    for sql in &fit {
        let mut tx = server.transaction().expect("a transaction");
        tx.execute("select set_config('app.fleet', $1, true)", &[&fleet.to_string()]).expect("a fleet");
        tx.batch_execute(sql).unwrap_or_else(|error| panic!("{sql}: {error}"));
    }
    for sql in wrong.iter().skip(1) {
        let mut tx = server.transaction().expect("a transaction");
        tx.execute("select set_config('app.fleet', $1, true)", &[&fleet.to_string()]).expect("a fleet");
        refused(tx, sql);
    }
    for sql in &wrong {
        refused(owner.transaction().expect("a transaction"), sql);
    }
    // One wrong row among five hundred right ones.
    let many = format!(
        "insert into stock_lines select '{fleet}', '{entry}', l, case when l = 250 then '{}'::uuid else '{}' end, '{}',
         'use', 1, 1, null, '2026-03-02' from generate_series(1, 500) l",
        theirs.card, ours.card, ours.card
    );
    refused(owner.transaction().expect("a transaction"), &many);
}

fn all(id: Uuid) -> Rows {
    Rows { fleet: id, member: id, lane: id, card: id, job: id, entry: id }
}

#[test]
fn what_is_referred_to_stays_and_keeps_its_key() {
    let db = TestDb::fresh();
    let mut owner = db.as_owner();
    let rows = planted(&mut owner, "ours");
    let Rows { fleet, .. } = rows;
    owner.batch_execute(&cost(fleet, rows.entry, rows.job)).expect("a line");
    for (table, key, id) in [
        ("entries", "entry_id", rows.entry),
        ("cards", "card_id", rows.card),
        ("jobs", "job_id", rows.job),
        ("lanes", "lane_id", rows.lane),
        ("members", "member_id", rows.member),
        ("heads", "fleet_id", fleet),
    ] {
        let these = format!("where fleet_id = '{fleet}' and {key} = '{id}'");
        refused(owner.transaction().expect("a transaction"), &format!("delete from {table} {these}"));
        let moved = format!("update {table} set {key} = gen_random_uuid() {these}");
        refused(owner.transaction().expect("a transaction"), &moved);
    }
    // A job nothing was booked on may go.
    owner.batch_execute("set session_replication_role = replica; delete from cost_lines").expect("no lines");
    owner.batch_execute("set session_replication_role = origin").expect("triggers on");
    assert_eq!(owner.execute("delete from jobs where job_id = $1", &[&rows.job]).expect("gone"), 1);
}
