//! More phones than the server can take at once: it does as much as before, says no quickly to the
//! rest, and is itself again soon after.

use super::lane::Lane;
use end_to_end::cards::Cards;
use end_to_end::world::ProcessWorld;
use end_to_end::{Answer, Client};
use serde_json::Value;
use std::collections::HashSet;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// The short form; the long one is a minute.
const LASTS: Duration = Duration::from_secs(8);
/// As many as are served at once on two workers, and many more than may wait besides.
const FEW: usize = 6;
const MANY: usize = 120;
const RUN: usize = 20;

#[derive(Default)]
struct Known {
    taken: HashSet<Uuid>,
    turned_away: Vec<Duration>,
    odd: Vec<String>,
}

/// Phones that hand over run after run, and come back when they are told to.
fn hand_over_on(lanes: &mut [Lane], lasts: Duration) -> Known {
    let (stop, start) = (AtomicBool::new(false), Instant::now());
    std::thread::scope(|scope| {
        let phones: Vec<_> = lanes
            .iter_mut()
            .map(|lane| {
                let stop = &stop;
                scope.spawn(move || {
                    let mut known = Known::default();
                    let mut waiting: Vec<Value> = Vec::new();
                    while !stop.load(Ordering::Relaxed) {
                        if waiting.is_empty() {
                            waiting = lane.note(RUN);
                        }
                        let answer = lane.send(&waiting);
                        match answer.status {
                            200 => {
                                known.take_note(&answer);
                                waiting.clear();
                            }
                            429 | 503 => {
                                known.turned_away.push(answer.took);
                                let after = answer.header("retry-after").and_then(|text| text.parse().ok());
                                let after = Duration::from_secs(after.expect("when to come back"));
                                let until = Instant::now() + after;
                                while Instant::now() < until && !stop.load(Ordering::Relaxed) {
                                    std::thread::sleep(Duration::from_millis(20));
                                }
                            }
                            _ => known.odd.push(format!("{} {}", answer.status, answer.text())),
                        }
                    }
                    known
                })
            })
            .collect();
        std::thread::sleep(lasts.saturating_sub(start.elapsed()));
        stop.store(true, Ordering::Relaxed);
        let mut all = Known::default();
        for phone in phones {
            let known = phone.join().unwrap();
            all.taken.extend(known.taken);
            all.turned_away.extend(known.turned_away);
            all.odd.extend(known.odd);
        }
        all
    })
}

impl Known {
    fn take_note(&mut self, answer: &Answer) {
        for verdict in answer.json()["verdicts"].as_array().unwrap() {
            assert_eq!(verdict["verdict"], "taken", "{verdict}");
            self.taken.insert(verdict["id"].as_str().unwrap().parse().unwrap());
        }
    }
}

/// So many phones of one member.
fn lanes(client: &Client, van: Uuid, count: usize) -> Vec<Lane> {
    (0..count).map(|_| Lane::enrol(client.clone(), van)).collect()
}

#[test]
fn more_phones_than_can_be_served_are_told_to_come_back_and_nothing_acknowledged_is_lost() {
    let world = ProcessWorld::start(&[("DROPWISE_HANDOVERS_PER_LANE_PER_MIN", "100000")]);
    let token = world.fleet.token_signed_with(&world.serving.keys(), world.fleet.office);
    let client = world.as_nobody().with_token(token);
    let van = Cards::create(&client).van;
    let mut few = lanes(&client, van, FEW);
    let mut many = lanes(&client, van, MANY);
    let _ = hand_over_on(&mut few, Duration::from_secs(2));

    let alone = hand_over_on(&mut few, LASTS);
    let before_mib = world.serving.resident_mib();
    let crowd = hand_over_on(&mut many, LASTS);
    let grown_mib = world.serving.resident_mib() - before_mib;
    for known in [&alone, &crowd] {
        assert_eq!(known.odd, Vec::<String>::new());
    }
    let mut away = crowd.turned_away.clone();
    away.sort();
    let share = crowd.taken.len() as f64 / alone.taken.len() as f64;
    println!(
        "{FEW} phones: {} entries; {MANY} phones: {} entries ({share:.2}), {} turned away in {:?} (median), {grown_mib:.1} MiB more",
        alone.taken.len(),
        crowd.taken.len(),
        away.len(),
        away.get(away.len() / 2)
    );
    assert!(!away.is_empty(), "there was no overload");
    assert!(away[away.len() / 2] < Duration::from_millis(100), "{away:?}");
    assert!(share >= 0.8, "served {share:.2} of what it can");
    assert!(grown_mib < 60.0, "{grown_mib} MiB");

    // Itself again: one phone is served as if nothing had been.
    let start = Instant::now();
    let mut after = Lane::enrol(client.clone(), van);
    let run = after.note(RUN);
    while after.send(&run).status != 200 {
        assert!(start.elapsed() < Duration::from_secs(10), "does not recover");
    }
    println!("served again after {:?}", start.elapsed());

    let ids: Vec<Uuid> = alone.taken.union(&crowd.taken).copied().collect();
    let sql = "select count(*) from entries where entry_id = any($1) and verdict = 'taken'";
    let stored: i64 = world.db.as_owner().query_one(sql, &[&ids]).unwrap().get(0);
    assert_eq!(usize::try_from(stored).unwrap(), ids.len(), "acknowledged and lost");
}

#[test]
fn a_fleet_with_a_hundred_phones_at_the_door_does_not_shut_another_out() {
    let world = ProcessWorld::start(&[("DROPWISE_HANDOVERS_PER_LANE_PER_MIN", "100000")]);
    let keys = world.serving.keys();
    let ask = |fleet: &end_to_end::Fleet| {
        world.as_nobody().with_token(fleet.token_signed_with(&keys, fleet.office))
    };
    let small = end_to_end::Fleet::found(
        &world.db.server_url(),
        &dropwise::clock::Clock::system(),
        world.as_nobody(),
        "small",
    );
    let (large_office, small_office) = (ask(&world.fleet), ask(&small));
    let large_van = Cards::create(&large_office).van;
    let small_van = Cards::create(&small_office).van;
    let mut crowd = lanes(&large_office, large_van, MANY);
    let mut alone = Lane::enrol(small_office.clone(), small_van);
    let (mut took, mut refused) = (Vec::new(), 0);
    std::thread::scope(|scope| {
        let load = scope.spawn(|| hand_over_on(&mut crowd, LASTS));
        std::thread::sleep(Duration::from_secs(1));
        while !load.is_finished() {
            let run = alone.note(RUN);
            let answer = alone.send(&run).expect_any(&[200, 503]);
            if answer.status == 200 {
                took.push(answer.took);
            } else {
                // Sent again under the same numbers.
                refused += 1;
                let again = alone.send(&run);
                assert!(again.status == 200 || again.status == 503);
                if again.status == 503 {
                    alone = Lane::enrol(small_office.clone(), small_van);
                }
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        let known = load.join().unwrap();
        assert_eq!(known.odd, Vec::<String>::new());
    });
    took.sort();
    println!(
        "beside a crowd: {} served, median {:?}, {refused} refused",
        took.len(),
        took.get(took.len() / 2)
    );
    assert!(took.len() >= 5 && refused * 4 <= took.len(), "{} served, {refused} refused", took.len());
}
