//! SIGTERM and SIGKILL under load: nothing acknowledged is lost, nothing is there twice, and what was
//! in doubt can be sent again.

use super::load::{CARD, Known, Load};
use dropwise::clock::Clock;
use end_to_end::binary::Serving;
use end_to_end::cluster::Cluster;
use end_to_end::{Client, Fleet, TestDb, raw};
use serde_json::Value;
use std::collections::HashSet;
use std::time::{Duration, Instant};
use uuid::Uuid;

/// The short form; the long one is fifty.
const RESTARTS: usize = 4;
/// The short form; the long one is a hundred.
const KILLS: usize = 4;

/// A fleet on a database of a durable cluster.
struct Ground {
    db: TestDb,
    fleet: Fleet,
    _cluster: Cluster,
}

impl Ground {
    fn new() -> Self {
        let cluster = Cluster::own(&[]);
        let db = TestDb::fresh_on(&cluster);
        let nowhere = Client::new(([127, 0, 0, 1], 1).into());
        let fleet = Fleet::found(&db.server_url(), &Clock::system(), nowhere, "amber");
        Self { db, fleet, _cluster: cluster }
    }

    fn serve(&self) -> (Serving, String) {
        let mut serving = Serving::start(&self.db.server_url(), &[]);
        serving.wait_until_ready().expect("a start");
        let token = self.fleet.token_signed_with(&serving.keys(), self.fleet.owner);
        (serving, token)
    }

    /// How many of these are stored.
    fn stored(&self, ids: &HashSet<Uuid>) -> usize {
        let ids: Vec<Uuid> = ids.iter().copied().collect();
        let sql = "select count(*) from cards where card_id = any($1)";
        let count: i64 = self.db.as_owner().query_one(sql, &[&ids]).expect("a count").get(0);
        usize::try_from(count).expect("a count")
    }

    /// Everything acknowledged is stored, whole; everything in doubt can be sent again and is then
    /// there once.
    fn check(&self, known: &Known) {
        assert_eq!(known.odd, Vec::<String>::new());
        let mut owner = self.db.as_owner();
        assert_eq!(self.stored(&known.acknowledged), known.acknowledged.len(), "acknowledged and lost");
        // A card and its row in the trail are of one transaction.
        let half: i64 = owner
            .query_one(
                "select count(*) from cards c where kind = 'place' and not exists
                        (select from trail t where t.fleet_id = c.fleet_id and t.record_id = c.card_id)",
                &[],
            )
            .expect("a count")
            .get(0);
        assert_eq!(half, 0, "half a transaction");
        let (serving, token) = self.serve();
        let client = Client::new(serving.address).with_token(token);
        let card: Value = serde_json::from_str(CARD).expect("JSON");
        for id in &known.in_doubt {
            client.put(&format!("/v1/cards/{id}"), &card).expect_any(&[200, 201]);
            client.put(&format!("/v1/cards/{id}"), &card).expect(200);
        }
    }
}

#[test]
fn a_server_told_to_stop_under_load_loses_nothing_cuts_nothing_and_ends_well() {
    let ground = Ground::new();
    for _ in 0..RESTARTS {
        let (mut serving, token) = ground.serve();
        let load = Load::start(serving.address, &token, 8);
        // And some who hold a connection and say nothing: they must not hold up the end.
        let idle: Vec<_> = (0..20).map(|_| raw::open(serving.address)).collect();
        std::thread::sleep(Duration::from_millis(400));
        serving.signal("TERM");
        let ended = serving.wait_for_end(Duration::from_secs(31));
        let known = load.end();
        drop(idle);
        let (status, after) = ended.unwrap_or_else(|| panic!("did not end in 31 s: {}", serving.said()));
        assert!(status.success(), "{status}: {}", serving.said());
        let unanswered = ground.stored(&known.in_doubt);
        println!(
            "{} acknowledged, {} in doubt, {unanswered} of those stored, {} told to leave, ended after {after:?}",
            known.acknowledged.len(),
            known.in_doubt.len(),
            known.told_to_leave
        );
        assert!(after < Duration::from_secs(30), "took {after:?}");
        assert!(known.acknowledged.len() > 20, "there was no load");
        assert_eq!(known.cut, 0, "answers were cut");
        assert_eq!(unanswered, 0, "work was done and not answered");
        drop(serving);
        ground.check(&known);
    }
}

#[test]
fn a_server_killed_under_load_loses_nothing_it_acknowledged() {
    let ground = Ground::new();
    for round in 0..KILLS {
        let (mut serving, token) = ground.serve();
        let load = Load::start(serving.address, &token, 8);
        std::thread::sleep(Duration::from_millis(200 + 37 * u64::try_from(round).expect("a round")));
        serving.signal("KILL");
        serving.wait_for_end(Duration::from_secs(5)).expect("an end");
        let known = load.end();
        assert!(known.acknowledged.len() > 10, "there was no load");
        ground.check(&known);
    }
}

#[test]
fn a_second_server_can_take_the_address_at_once() {
    let ground = Ground::new();
    let (mut serving, _) = ground.serve();
    let address = serving.address.to_string();
    // An answered connection lingers in the kernel; a restart must not trip over it.
    let close = b"GET /health/live HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n";
    assert!(raw::talk(serving.address, close, Duration::from_secs(1)).contains("200 OK"));
    let start = Instant::now();
    serving.signal("TERM");
    let (status, _) = serving.wait_for_end(Duration::from_secs(31)).expect("an end");
    assert!(status.success());
    let mut again = Serving::start(&ground.db.server_url(), &[("DROPWISE_LISTEN", &address)]);
    again.address = serving.address;
    again.wait_until_ready().expect("a second start");
    assert!(start.elapsed() < Duration::from_secs(20));
}
