//! T2: a row committed late below the cursor. Twelve writers with random holds and roll-backs, one held
//! back for long, three readers: no reader misses a row, and positions only rise.
//!
//! `DROPWISE_FEED_SECONDS` and `DROPWISE_FEED_HOLD_SECONDS` make it longer.

use super::reader::{Reader, key};
use dropwise::error::Error;
use dropwise::ids::fresh;
use dropwise::store::{Db, TrailRow};
use end_to_end::{Fleet, World};
use postgres::NoTls;
use rand::{RngExt, SeedableRng, rngs::StdRng};
use serde_json::json;
use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use uuid::Uuid;

const WRITERS: u64 = 12;
const READERS: usize = 3;

fn seconds(variable: &str, otherwise: u64) -> Duration {
    let given = std::env::var(variable).ok().and_then(|text| text.parse().ok());
    Duration::from_secs(given.unwrap_or(otherwise))
}

/// What the writers committed, and what each reader saw.
struct Outcome {
    committed: BTreeSet<String>,
    readers: Vec<Reader>,
}

impl Outcome {
    fn missing(&self) -> usize {
        let seen = |reader: &Reader| -> BTreeSet<String> {
            reader.rows.keys().map(|(_, _, id)| id.clone()).collect()
        };
        self.readers.iter().map(|reader| self.committed.difference(&seen(reader)).count()).sum()
    }
}

/// Works until its time is up; answers with what it committed.
type Writer = Box<dyn FnOnce() -> Vec<Uuid> + Send>;

/// Runs writers beside three readers, then lets the readers finish.
fn experiment(fleet: &Fleet, looks: &AtomicUsize, writers: Vec<Writer>) -> Outcome {
    let writing = AtomicBool::new(true);
    let mut outcome = Outcome { committed: BTreeSet::new(), readers: Vec::new() };
    std::thread::scope(|scope| {
        let readers: Vec<_> = (0..READERS)
            .map(|_| {
                scope.spawn(|| {
                    let mut reader = Reader::default();
                    while writing.load(Ordering::Acquire) {
                        reader.read_on(&fleet.as_technician());
                        looks.fetch_add(1, Ordering::Relaxed);
                        std::thread::sleep(Duration::from_millis(3));
                    }
                    reader.read_on(&fleet.as_technician());
                    reader
                })
            })
            .collect();
        let writers: Vec<_> = writers.into_iter().map(|write| scope.spawn(write)).collect();
        for writer in writers {
            outcome.committed.extend(writer.join().expect("a writer").iter().map(Uuid::to_string));
        }
        writing.store(false, Ordering::Release);
        outcome.readers = readers.into_iter().map(|reader| reader.join().expect("a reader")).collect();
    });
    outcome
}

/// Writes by the store the server uses: a random hold inside the transaction, one in eight rolled back.
fn steady_writer(url: String, fleet: &Fleet, seed: u64, lasts: Duration) -> Writer {
    let id = fleet.id;
    Box::new(move || {
        let mut random = StdRng::seed_from_u64(seed);
        actix_web::rt::System::new().block_on(async {
            let db = Db::open(&url, 1).expect("a pool");
            // Opening a connection takes its time while twelve do.
            while db.read(id, async |_| Ok(())).await.is_err() {
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
            let (start, mut committed) = (Instant::now(), Vec::new());
            while start.elapsed() < lasts {
                let records: Vec<Uuid> = (0..random.random_range(1..=4)).map(|_| fresh()).collect();
                let hold = Duration::from_micros(random.random_range(0..20_000_u64));
                let fails = random.random_range(0..8) == 0;
                let told = records.clone();
                let done = db.write("feed", id, async move |tx| {
                    for record in &told {
                        tx.tell(TrailRow::here(id.0, "note", *record, json!({})));
                    }
                    tokio::time::sleep(hold).await;
                    if fails { Err(Error::NotFound) } else { Ok(()) }
                });
                match done.await {
                    Ok(()) => committed.extend(records),
                    Err(Error::NotFound) => {}
                    Err(error) => panic!("{error}"),
                }
            }
            committed
        })
    })
}

/// A writer that is stopped after its work and before its stamp, and goes on much later.
fn held_writer(owner_url: String, fleet: Uuid, hold: Duration) -> Writer {
    Box::new(move || {
        let mut client = postgres::Client::connect(&owner_url, NoTls).expect("a connection");
        let mut tx = client.transaction().expect("a transaction");
        let record = fresh();
        tx.execute("update members set name = name where fleet_id = $1", &[&fleet]).expect("work");
        std::thread::sleep(hold);
        tx.execute(
            "with h as (update heads set head = head + 1 where fleet_id = $1 returning head)
             insert into trail (fleet_id, audience_id, kind, record_id, position, turn, body)
             select $1, $1, 'note', $2, head, head, '{}' from h",
            &[&fleet, &record],
        )
        .expect("a stamp");
        tx.commit().expect("a commit");
        vec![record]
    })
}

#[test]
fn feed_experiment() {
    let (lasts, hold) = (seconds("DROPWISE_FEED_SECONDS", 6), seconds("DROPWISE_FEED_HOLD_SECONDS", 5));
    let world = World::new();
    let fleet = world.fleet("harbour");
    let looks = AtomicUsize::new(0);
    let mut writers: Vec<_> = (0..WRITERS - 1)
        .map(|seed| steady_writer(world.db.server_url(), &fleet, 2026 + seed, lasts.max(hold)))
        .collect();
    writers.push(held_writer(world.db.owner_url(), fleet.id.0, hold));
    let start = Instant::now();
    let outcome = experiment(&fleet, &looks, writers);
    println!(
        "{} rows of {WRITERS} writers in {:.1} s, one held for {:.0} s; {READERS} readers miss {}",
        outcome.committed.len(),
        start.elapsed().as_secs_f64(),
        hold.as_secs_f64(),
        outcome.missing()
    );
    assert!(outcome.committed.len() > 500, "too few to mean anything: {}", outcome.committed.len());
    assert_eq!(outcome.missing(), 0, "rows were missed");
    for reader in &outcome.readers {
        assert!(reader.positions.is_sorted_by(|a, b| a < b), "positions rise, and none comes twice");
        let notes = reader.rows.values().filter(|row| row["kind"] == "note").count();
        assert_eq!(notes, outcome.committed.len(), "and nothing rolled back is seen");
        assert!(reader.rows.iter().all(|(kept, row)| *kept == key(row)));
    }
}

/// The same readers see the loss when positions are given out before the work, so the experiment has eyes.
#[test]
fn with_positions_given_out_first_the_same_readers_do_miss_rows() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let (id, url) = (fleet.id.0, world.db.owner_url());
    world.db.as_owner().batch_execute("create sequence early start 1000").expect("a sequence");
    let looks = Arc::new(AtomicUsize::new(0));
    let writers: Vec<Writer> = (0..WRITERS)
        .map(|seed| {
            let (url, looks) = (url.clone(), looks.clone());
            let write = move || {
                let mut random = StdRng::seed_from_u64(seed);
                let mut client = postgres::Client::connect(&url, NoTls).expect("a connection");
                let (start, mut committed) = (Instant::now(), Vec::new());
                // Until the readers have looked often enough to have missed something.
                while looks.load(Ordering::Relaxed) < 150 && start.elapsed() < Duration::from_secs(60) {
                    let record = fresh();
                    let mut tx = client.transaction().expect("a transaction");
                    let position: i64 =
                        tx.query_one("select nextval('early')", &[]).expect("a position").get(0);
                    std::thread::sleep(Duration::from_micros(random.random_range(0..20_000_u64)));
                    tx.execute(
                        "insert into trail (fleet_id, audience_id, kind, record_id, position, turn, body)
                         values ($1, $1, 'note', $2, $3, $3, '{}')",
                        &[&id, &record, &position],
                    )
                    .expect("a row");
                    tx.execute(
                        "update heads set head = greatest(head, $2) where fleet_id = $1",
                        &[&id, &position],
                    )
                    .expect("a head");
                    tx.commit().expect("a commit");
                    committed.push(record);
                }
                committed
            };
            Box::new(write) as Writer
        })
        .collect();
    let outcome = experiment(&fleet, &looks, writers);
    println!("positions first: {} of {} rows missed", outcome.missing(), READERS * outcome.committed.len());
    assert!(outcome.missing() > 0, "nobody missed anything: the experiment sees nothing");
}
