//! The same entries in every order of arrival: what the protocol promises to be independent of it.

use super::server::Asker;
use super::server::judge::Changed;
use super::server::tables::Fleet;
use crate::phone::json::Json;
use crate::phone::wire::Entry;
use chrono::DateTime;
use dropwise::sync::rules::stamp::Stamp;
use rand::RngExt;
use rand::rngs::Xoshiro256PlusPlus;
use rand::seq::IndexedRandom;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use uuid::Uuid;

/// An entry, and whose lane and session it comes from.
#[derive(Debug, Clone)]
pub struct Sent {
    who: Asker,
    lane: Uuid,
    entry: Entry,
}

/// So many entries by members of a fleet, each from a lane of its own: facts, observations, bottles of one
/// tag, edits of one field, and mistakes taken back. Commands are not among them: the first one wins.
#[must_use]
pub fn entries(fleet: &Fleet, count: usize, now_ms: i64, rng: &mut Xoshiro256PlusPlus) -> Vec<Sent> {
    let members: Vec<Uuid> = fleet.members.keys().copied().collect();
    let cards: Vec<Uuid> = fleet.cards.keys().copied().collect();
    let jobs = fleet.cards.iter().filter(|(_, card)| card.place != fleet.id).map(|(id, _)| *id);
    let jobs: Vec<Uuid> = jobs.collect();
    let bottles: Vec<Uuid> = (0..2).map(|at| Uuid::from_u128(0xb0 + at)).collect();
    // Of two openings of one record, or two reversals of one entry, the first to arrive is the one.
    let (mut unopened, mut unreversed) = (bottles.clone(), vec![]);
    let mut sent: Vec<Sent> = vec![];
    for at in 0..count {
        let mut member = *members.choose(rng).expect("members");
        let place = |rng: &mut Xoshiro256PlusPlus| *fleet.places.choose(rng).expect("vans");
        let (here, there) = (place(rng), place(rng));
        let (item, amount) = (Uuid::from_u128(0x17e0), rng.random_range(1..100));
        let bottle = *bottles.choose(rng).expect("bottles");
        let (kind, body) = match rng.random_range(0..8) {
            0 => ("receipt", format!(r#"{{"item_id":"{item}","place_id":"{here}","quantity":{amount}}}"#)),
            1 => (
                "stock_move",
                format!(
                    r#"{{"item_id":"{item}","from_place_id":"{here}","to_place_id":"{there}","quantity":{amount}}}"#
                ),
            ),
            2 => {
                ("stock_count", format!(r#"{{"item_id":"{item}","place_id":"{here}","quantity":{amount}}}"#))
            }
            3 if !unopened.is_empty() => {
                let bottle = unopened.pop().expect("one");
                (
                    "bottle_open",
                    format!(r#"{{"container_id":"{bottle}","tag":"T","place_id":"{here}","ml":{amount}}}"#),
                )
            }
            4 => {
                let job = jobs.choose(rng).expect("jobs");
                ("section_work", format!(r#"{{"job_id":"{job}","container_id":"{bottle}","ml":{amount}}}"#))
            }
            5 => ("weigh_in", format!(r#"{{"container_id":"{bottle}","ml":{amount}}}"#)),
            6 if !unreversed.is_empty() => {
                // Only its author takes an entry back.
                let (target, author): (Uuid, Uuid) = unreversed.remove(0);
                member = author;
                ("reversal", format!(r#"{{"entry_id":"{target}"}}"#))
            }
            _ => {
                let card = cards.first().expect("cards");
                ("card_edit", format!(r#"{{"card_id":"{card}","set":{{"note":"of {at}"}}}}"#))
            }
        };
        let lane = Uuid::from_u128(0x1a0 + at as u128);
        // Ties of time are common: the lane decides.
        let ms = now_ms - rng.random_range(0..3) * 1_000;
        let happened_at = DateTime::from_timestamp_millis(ms).expect("an instant");
        let entry = Entry {
            n: 1,
            id: Uuid::from_u128(0xe0 + at as u128),
            kind: kind.to_owned(),
            form: 1,
            happened_at,
            body: Json::new(&body),
            made_at: happened_at,
            stamp: Stamp::at(ms, lane).text(),
            drift_ms: 0,
            seen: BTreeMap::new(),
            needs: vec![],
        };
        unreversed.push((entry.id, member));
        sent.push(Sent { who: Asker { fleet: fleet.id, member }, lane, entry });
    }
    sent
}

/// What a fleet comes to after these, in this order. Words of verdicts are left out where the order may
/// show in them: who yielded to whom.
#[must_use]
pub fn outcome(fleet: &Fleet, sent: &[Sent], order: &[usize], now_ms: i64) -> String {
    let mut fleet = fleet.clone();
    let mut changed: Vec<Changed> = vec![];
    for at in order {
        let Sent { who, lane, entry } = &sent[*at];
        let _ = fleet.take(*who, *lane, entry, None, now_ms, None, &mut changed);
    }
    let mut text = String::new();
    for (shelf, level) in &fleet.stock {
        let _ = writeln!(text, "{shelf:?} {} {}", level.value(), level.facts());
    }
    for (tag, bottle) in &fleet.bottles {
        let (first, place) = (bottle.canonical(), bottle.place());
        let _ = writeln!(text, "{tag} {first} in {place}: {} {}", bottle.level.value(), bottle.level.facts());
    }
    for (id, card) in &fleet.cards {
        let mut losers = card.losers.clone();
        losers.sort();
        let _ = writeln!(text, "{id} {:?} {losers:?} {:?}", card.fields, card.facts);
    }
    for (id, stored) in &fleet.entries {
        let _ = writeln!(text, "{id} {} {:?}", stored.word.is_booked(), stored.reversed_by);
    }
    let _ = writeln!(text, "{:?}", fleet.months);
    text
}

/// Every order of so many things.
#[must_use]
pub fn permutations(count: usize) -> Vec<Vec<usize>> {
    if count == 0 {
        return vec![vec![]];
    }
    let shorter = permutations(count - 1);
    let insert = |order: &Vec<usize>, at: usize| {
        let mut order = order.clone();
        order.insert(at, count - 1);
        order
    };
    shorter.iter().flat_map(|order| (0..count).map(move |at| insert(order, at))).collect()
}
