//! What must hold when all is quiet: each property of the protocol that can be read off the tables and
//! the phones, in a function of its own that computes it another way than the server did.
//!
//! Properties of single events (verdicts, positions, reads) are watched as they happen: see `watch`.

use super::server::Server;
use super::server::tables::{Fleet, Stored};
use super::watch::Watch;
use super::world::Device;
use crate::phone::wire::Word;
use dropwise::sync::rules::job_state::{Command, State, step};
use dropwise::sync::rules::stamp::Stamp;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

type Check = fn(&Server, &[Device], &Watch) -> Result<(), String>;

/// Every property, by name.
pub const PROPERTIES: [(&str, Check); 9] = [
    ("convergence", convergence),
    ("exactly-once", exactly_once),
    ("no acknowledged entry lost", no_acknowledged_entry_lost),
    ("one final verdict per id", one_final_verdict_per_id),
    ("effects in lane order", effects_in_lane_order),
    ("stock conserved", stock_conserved),
    ("a closed month unchanged", a_closed_month_unchanged),
    ("losing values are kept", losing_values_are_kept),
    ("what waits is freed", what_waits_is_freed),
];

fn claim(holds: bool, seen: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(seen()) }
}

/// Every phone shows, byte for byte, what the trail holds for its owner's audiences.
fn convergence(server: &Server, devices: &[Device], _: &Watch) -> Result<(), String> {
    for fleet in server.fleets.values() {
        let (rows, _) = fleet.trail.here(None, usize::MAX, |_| true);
        let mut homes: BTreeMap<(String, Uuid), Uuid> = BTreeMap::new();
        for row in rows {
            // Whoever a record has left must not be told that it is there.
            let other = homes.insert((row.kind.clone(), row.id), row.audience_id);
            claim(other.is_none(), || format!("{} {} is seen in two places", row.kind, row.id))?;
        }
    }
    for (at, device) in devices.iter().enumerate() {
        let fleet = &server.fleets[&device.who.fleet];
        let member = &fleet.members[&device.who.member];
        let store = &device.phone.store;
        if member.removed_ms.is_some() || store.wiped {
            continue;
        }
        let own = [fleet.id, device.who.member, member.place];
        let (rows, _) = fleet.trail.here(None, usize::MAX, |(audience, _, _)| own.contains(audience));
        let told: BTreeMap<_, _> = rows
            .into_iter()
            .map(|row| ((row.audience_id, row.kind, row.id), (row.position, row.body)))
            .collect();
        let shown: BTreeMap<_, _> =
            store.records.iter().map(|(key, r)| (key.clone(), (r.position, r.body.clone()))).collect();
        let differs = told.iter().find(|(key, row)| shown.get(*key) != Some(*row));
        claim(differs.is_none(), || {
            let (key, row) = differs.expect("a difference");
            format!("phone {at} shows {:?} for {key:?}, told {row:?}", shown.get(key))
        })?;
        let more = shown.iter().find(|(key, _)| !told.contains_key(*key));
        claim(more.is_none(), || format!("phone {at} shows {more:?}, which is not there"))?;
    }
    Ok(())
}

/// Levels, figures and jobs are the fold of the accepted entries, each counted once.
fn exactly_once(server: &Server, _: &[Device], _: &Watch) -> Result<(), String> {
    for fleet in server.fleets.values() {
        let tags = tags(fleet);
        let mut stock: BTreeMap<Shelf, Vec<Fact>> = BTreeMap::new();
        let mut bottles: BTreeMap<String, Vec<Fact>> = BTreeMap::new();
        let mut work: BTreeMap<Uuid, BTreeSet<Uuid>> = BTreeMap::new();
        let mut months: BTreeMap<i64, i64> = BTreeMap::new();
        for stored in booked(fleet) {
            let body = &*stored.said;
            let (stamp, id) = (stored.stamp, stored.entry.id);
            let number = |name: &str| body[name].as_i64().unwrap_or(0);
            let place = |name: &str| (uuid(&body["item_id"]), uuid(&body[name]));
            let kind = stored.entry.kind.as_str();
            *months.entry(stored.month).or_default() += match kind {
                "receipt" => number("quantity"),
                "section_work" => number("ml"),
                "reversal" => -figure(&fleet.entries[&uuid(&body["entry_id"])]),
                _ => 0,
            };
            if stored.reversed_by.is_some() {
                continue;
            }
            // On which shelf, if not in a bottle; whether it was observed; how much.
            let mut facts: Vec<(Option<Shelf>, bool, i64)> = vec![];
            match kind {
                "receipt" => facts.push((Some(place("place_id")), false, number("quantity"))),
                "stock_count" => facts.push((Some(place("place_id")), true, number("quantity"))),
                "stock_move" => {
                    facts.push((Some(place("from_place_id")), false, -number("quantity")));
                    facts.push((Some(place("to_place_id")), false, number("quantity")));
                }
                "bottle_open" | "weigh_in" => facts.push((None, true, number("ml"))),
                "section_work" => {
                    facts.push((None, false, -number("ml")));
                    work.entry(uuid(&body["job_id"])).or_default().insert(id);
                }
                _ => {}
            }
            for (shelf, observed, amount) in facts {
                let fact = (stamp, id, observed, amount);
                match shelf {
                    Some(shelf) => stock.entry(shelf).or_default().push(fact),
                    None => {
                        let tag = tags.get(&uuid(&body["container_id"])).cloned().unwrap_or_default();
                        bottles.entry(tag).or_default().push(fact);
                    }
                }
            }
        }
        for (shelf, level) in &fleet.stock {
            let mut facts = stock.remove(shelf).unwrap_or_default();
            let folded = (fold(&mut facts), facts.len());
            claim(folded == (level.value(), level.facts()), || {
                format!(
                    "stock {shelf:?}: {} of {} facts, entries say {folded:?}",
                    level.value(),
                    level.facts()
                )
            })?;
        }
        for (tag, bottle) in &fleet.bottles {
            let mut facts = bottles.remove(tag).unwrap_or_default();
            let folded = (fold(&mut facts), facts.len());
            let level = &bottle.level;
            claim(folded == (level.value(), level.facts()), || {
                format!("bottle {tag}: {} of {} facts, entries say {folded:?}", level.value(), level.facts())
            })?;
        }
        claim(stock.is_empty() && bottles.is_empty(), || format!("never booked: {stock:?} {bottles:?}"))?;
        for (id, card) in &fleet.cards {
            let worked = work.remove(id).unwrap_or_default();
            claim(card.facts == worked, || format!("job {id}: {:?}, entries say {worked:?}", card.facts))?;
        }
        let summed: BTreeMap<i64, i64> = nonzero(&months);
        claim(nonzero(&fleet.months) == summed, || {
            format!("months {:?}, entries say {summed:?}", fleet.months)
        })?;
    }
    Ok(())
}

/// An item in a place.
type Shelf = (Uuid, Uuid);
/// When, by which entry, whether it was observed, and how much.
type Fact = (Stamp, Uuid, bool, i64);

/// The level after facts in order of time: an observation replaces, a fact adds.
fn fold(facts: &mut [Fact]) -> i64 {
    facts.sort_unstable();
    facts.iter().fold(0, |level, (_, _, observed, amount)| if *observed { *amount } else { level + amount })
}

fn booked(fleet: &Fleet) -> impl Iterator<Item = &Stored> {
    fleet.entries.values().filter(|stored| stored.word.is_booked())
}

fn figure(stored: &Stored) -> i64 {
    let body = &*stored.said;
    match stored.entry.kind.as_str() {
        "receipt" => body["quantity"].as_i64().unwrap_or(0),
        "section_work" => body["ml"].as_i64().unwrap_or(0),
        _ => 0,
    }
}

/// Which bottle each registered record stands for.
fn tags(fleet: &Fleet) -> BTreeMap<Uuid, String> {
    booked(fleet)
        .filter(|stored| stored.entry.kind == "bottle_open")
        .map(|stored| {
            let body = &*stored.said;
            (uuid(&body["container_id"]), body["tag"].as_str().unwrap_or_default().to_owned())
        })
        .collect()
}

fn uuid(value: &Value) -> Uuid {
    value.as_str().and_then(|text| text.parse().ok()).unwrap_or_default()
}

fn nonzero(figures: &BTreeMap<i64, i64>) -> BTreeMap<i64, i64> {
    figures.iter().filter(|(_, figure)| **figure != 0).map(|(month, figure)| (*month, *figure)).collect()
}

/// Queues are drained, so whatever became durable on a phone is with the server now, restored or not.
fn no_acknowledged_entry_lost(server: &Server, _: &[Device], watch: &Watch) -> Result<(), String> {
    let lost = watch.written.iter().find(|(id, who)| !server.fleets[&who.fleet].entries.contains_key(*id));
    claim(lost.is_none(), || format!("{lost:?} is nowhere"))
}

/// A phone believes of its entries what the server does.
fn one_final_verdict_per_id(server: &Server, devices: &[Device], _: &Watch) -> Result<(), String> {
    for (at, device) in devices.iter().enumerate() {
        let fleet = &server.fleets[&device.who.fleet];
        let store = &device.phone.store;
        if store.wiped || fleet.members[&device.who.member].removed_ms.is_some() {
            continue;
        }
        for (id, word) in &store.verdicts {
            let stored = fleet.entries.get(id).map(|stored| stored.word);
            claim(stored == Some(*word), || format!("phone {at} heard {word:?} of {id}, stored {stored:?}"))?;
        }
    }
    Ok(())
}

/// Numbers of a lane are judged in order without a gap, and a job's commands follow from each other.
fn effects_in_lane_order(server: &Server, _: &[Device], _: &Watch) -> Result<(), String> {
    for fleet in server.fleets.values() {
        for (id, lane) in &fleet.lanes {
            let dense = lane.judged.keys().copied().eq(1..=lane.last_n);
            let order: Vec<i64> = lane.judged.values().map(|(_, judged)| *judged).collect();
            claim(dense && order.is_sorted(), || {
                format!("lane {id} up to {}: {:?}", lane.last_n, lane.judged)
            })?;
        }
        let mut commands: Vec<&Stored> = booked(fleet).filter(|s| s.entry.kind == "job_command").collect();
        commands.sort_by_key(|stored| stored.judged);
        let mut states: BTreeMap<Uuid, State> = BTreeMap::new();
        for stored in commands {
            let body = &*stored.said;
            let job = uuid(&body["job_id"]);
            let said = |name: &str| body[name].clone();
            let command: Command = serde_json::from_value(said("command")).map_err(|e| e.to_string())?;
            let expects: State = serde_json::from_value(said("expects")).map_err(|e| e.to_string())?;
            let state = states.get(&job).copied().unwrap_or(State::Booked);
            let next = step(state, command, expects).map_err(|why| format!("job {job}: {why:?}"))?;
            states.insert(job, next);
        }
        for (id, card) in fleet.cards.iter().filter(|(_, card)| card.state.is_open()) {
            let state = states.get(id).copied().unwrap_or(State::Booked);
            claim(state == card.state, || format!("job {id} is {:?}, commands say {state:?}", card.state))?;
        }
    }
    Ok(())
}

/// What came in and what counting found is what is there, over all places.
fn stock_conserved(server: &Server, _: &[Device], _: &Watch) -> Result<(), String> {
    for fleet in server.fleets.values() {
        let mut balance: BTreeMap<Uuid, i64> = BTreeMap::new();
        for ((item, _), level) in &fleet.stock {
            *balance.entry(*item).or_default() += level.value() - level.corrected();
        }
        for stored in booked(fleet).filter(|s| s.entry.kind == "receipt" && s.reversed_by.is_none()) {
            let body = &*stored.said;
            *balance.entry(uuid(&body["item_id"])).or_default() -= body["quantity"].as_i64().unwrap_or(0);
        }
        let off = balance.iter().find(|(_, balance)| **balance != 0);
        claim(off.is_none(), || format!("{off:?} from nothing"))?;
    }
    Ok(())
}

fn a_closed_month_unchanged(server: &Server, _: &[Device], watch: &Watch) -> Result<(), String> {
    for ((fleet, month), closed) in &watch.closed {
        let figure = server.fleets[fleet].months.get(month).copied().unwrap_or(0);
        claim(figure == *closed, || format!("month {month} was closed at {closed} and is {figure}"))?;
    }
    Ok(())
}

/// The latest stamp has the field, and every other value that was accepted can still be read.
fn losing_values_are_kept(server: &Server, _: &[Device], _: &Watch) -> Result<(), String> {
    for fleet in server.fleets.values() {
        for card in fleet.cards.values() {
            let late =
                card.losers.iter().find(|l| card.fields.get(&l.field).is_none_or(|f| f.stamp < l.stamp));
            claim(late.is_none(), || format!("{late:?} lost to {:?}", card.fields))?;
        }
        for stored in booked(fleet).filter(|stored| stored.entry.kind == "card_edit") {
            let body = &*stored.said;
            let card = &fleet.cards[&uuid(&body["card_id"])];
            for (field, value) in body["set"].as_object().into_iter().flatten() {
                let value = value.as_str().unwrap_or_default();
                let stands =
                    card.fields.get(field).is_some_and(|f| f.value == value && f.stamp == stored.stamp);
                let kept = card
                    .losers
                    .iter()
                    .any(|l| l.field == *field && l.value == value && l.stamp == stored.stamp);
                claim(stands || kept, || format!("{value} of {} is nowhere", stored.entry.id))?;
            }
        }
    }
    Ok(())
}

/// Nothing waits for what is there.
fn what_waits_is_freed(server: &Server, _: &[Device], _: &Watch) -> Result<(), String> {
    for fleet in server.fleets.values() {
        for stored in fleet.entries.values().filter(|stored| stored.word == Word::Parked) {
            let Some(parent) = stored.waits_for else { continue };
            let entry = fleet.entries.get(&parent).is_some_and(|parent| parent.word != Word::Parked);
            claim(!entry && !fleet.tags.contains_key(&parent), || {
                format!("{} waits for {parent}, which is there", stored.entry.id)
            })?;
        }
    }
    Ok(())
}
