//! An evening: how fast handovers are taken and read while everybody is there, beside Postgres doing the
//! same rows by itself in the same run.
//!
//! Bounded, on the loopback only, on a throw-away Postgres with everything durable. Prints what it
//! measured and asserts no time. `cargo bench -p end-to-end --bench load`; `DROPWISE_BINARY` names the
//! release binary. The short form is the default and takes minutes:
//!
//! | setting | says | default |
//! |---|---|---|
//! | `LOAD_FLEETS`, `LOAD_PHONES` | businesses, and phones of each, that come online together | 20, 20 |
//! | `LOAD_BATCHES` | queued handovers of 500 entries per phone | 1 |
//! | `LOAD_ROUNDS` | evenings of one fleet with four phones, for the growth of its history | 10 |

mod baselines;
mod evening;
mod figures;
mod stage;

use baselines::{copy_of_entries, psql_of_trail, read_trail};
use end_to_end::TestDb;
use end_to_end::cluster::Cluster;
use evening::{Evening, offices_while, queues, send};
use figures::{Meter, rate, report};
use stage::{ENTRIES, Stage};

fn main() {
    let fleets = setting("LOAD_FLEETS", 20);
    let phones = setting("LOAD_PHONES", 20);
    let batches = setting("LOAD_BATCHES", 1);
    let rounds = setting("LOAD_ROUNDS", 10).max(1);
    let cluster = Cluster::own(&["shared_buffers=128MB", "max_wal_size=2GB", "max_connections=100"]);
    let db = TestDb::fresh_on(&cluster);
    let stage = Stage::open(&db);
    println!("server resident at its start: {:.1} MiB", stage.server.resident_mib());

    one_fleet(&stage, &cluster, &db, rounds);
    many_fleets(&stage, &cluster, &db, fleets, phones, batches);
    println!("server resident at the end: {:.1} MiB", stage.server.resident_mib());
}

fn setting(name: &str, otherwise: usize) -> usize {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

/// Sessions notice within 3 s where their member works from.
fn notice_home_places() {
    std::thread::sleep(std::time::Duration::from_secs(4));
}

/// Four phones of one fleet, evening after evening: they take turns at the items they share.
fn one_fleet(stage: &Stage, cluster: &Cluster, db: &TestDb, rounds: usize) {
    const BATCHES: usize = 5;
    let mut fleet = stage.fleet("alone", 4);
    notice_home_places();
    let (mut evenings, mut copies): (Vec<Evening>, Vec<f64>) = (Vec::new(), Vec::new());
    for round in 0..rounds {
        let queued = queues(&mut fleet.phones, BATCHES);
        let meter = Meter::start(&stage.server, cluster);
        let evening = send(&queued);
        let used = meter.stop(evening.entries);
        if round == 0 || round + 1 == rounds {
            report(&format!("one fleet, four phones, evening {}", round + 1), &evening, &used);
        }
        // Beside each evening, so that both meet the same machine.
        copies.push(rate(evening.entries, copy_of_entries(db, evening.entries)));
        evenings.push(evening);
        if round == 0 {
            // What autovacuum does within a minute of the first rows; a whole evening is over sooner here.
            db.as_owner().batch_execute("analyze").expect("statistics");
        }
    }
    let mut ratios: Vec<f64> = evenings.iter().zip(&copies).map(|(e, copy)| e.per_s() / copy).collect();
    ratios.sort_by(f64::total_cmp);
    copies.sort_by(f64::total_cmp);
    println!("COPY of the same entries in one transaction: median {:.0}/s", copies[copies.len() / 2]);
    println!(
        "ratio of a handover to COPY: median {:.3} of {} evenings ({:.3} to {:.3})",
        ratios[ratios.len() / 2],
        ratios.len(),
        ratios[0],
        ratios[ratios.len() - 1]
    );
    if let [first, .., last] = evenings.as_slice() {
        let growth = last.took.as_secs_f64() / first.took.as_secs_f64();
        println!("growth: evening {rounds} took {growth:.2} of the first");
    }
    let (read, took) = read_trail(&fleet.owner);
    let psql = psql_of_trail(db);
    println!("trail: {read} rows at {:.0}/s; psql: {:.0}/s", rate(read, took), rate(psql.0, psql.1));
    println!("ratio trail to psql: {:.3}", rate(read, took) / rate(psql.0, psql.1));
}

/// Everybody at once, while the offices read answers.
fn many_fleets(stage: &Stage, cluster: &Cluster, db: &TestDb, fleets: usize, phones: usize, batches: usize) {
    let mut all: Vec<_> = (0..fleets).map(|i| stage.fleet(&format!("fleet-{i}"), phones)).collect();
    notice_home_places();
    let offices: Vec<_> = all.iter().map(|fleet| (fleet.owner.clone(), fleet.phones[0].job)).collect();
    let queued: Vec<_> = all.iter_mut().flat_map(|fleet| queues(&mut fleet.phones, batches)).collect();
    let before = rate(10_000, copy_of_entries(db, 10_000));
    let meter = Meter::start(&stage.server, cluster);
    let (evening, answers) = offices_while(&offices, || send(&queued));
    let used = meter.stop(evening.entries);
    let after = rate(10_000, copy_of_entries(db, 10_000));
    report(
        &format!("{fleets} fleets of {phones} phones, {batches} handovers of {ENTRIES} each"),
        &evening,
        &used,
    );
    println!("  turned away with 503 and Retry-After, and taken later: {} handovers", evening.turned_away);
    println!("  offices meanwhile: {}", figures::spread(&answers));
    let copy = (before + after) / 2.0;
    println!("  COPY of 10,000 entries before and after: {before:.0}/s, {after:.0}/s");
    println!("  ratio to COPY: {:.3}", evening.per_s() / copy);
}
