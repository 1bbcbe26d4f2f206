//! Fields of a card written from a phone: each on its own, the later stamp wins, what lost is kept.

use super::cards::{Author, missing};
use super::clocks;
use super::facts::CardEdit;
use super::refusal::EntryRefusal;
use super::{Desk, Incoming};
use crate::auth::Role;
use crate::error::Error;
use crate::flows::cards::fields;
use crate::flows::cards::kinds::{Card, Kind, VehicleClass};
use crate::flows::cards::writing::{Writer, Writing};
use crate::sync::rules::merge::Outcome;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The most fields one entry writes.
const MOST_FIELDS: usize = 100;

/// Where the card was, and which fields already held a later value.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Basis {
    pub(super) place_id: Option<Uuid>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) lost: Vec<String>,
}

/// Writes all of an entry's fields, or refuses it whole before the first.
pub(super) fn write(
    desk: &mut Desk,
    fact: &CardEdit,
    author: Author,
    entry: &Incoming,
    now: DateTime<Utc>,
) -> Result<(Basis, Option<EntryRefusal>), EntryRefusal> {
    let id = fact.card_id;
    let writing = held(desk, id, "card_id", author)?;
    let (record, card) = (&writing.record, desk.cards.by_id.get(&id).map(|(card, _)| card));
    if fact.set.is_empty() || fact.set.len() > MOST_FIELDS {
        let sentence = format!("An edit writes from 1 to {MOST_FIELDS} fields.");
        return Err(EntryRefusal::at("field_count", "set", sentence));
    }
    let class = card.and_then(Card::job).and_then(|job| {
        let vehicle = desk.cards.vehicle(job.vehicle_id, "card_id").ok()?;
        desk.cards.vehicle_class(vehicle.vehicle_class_id, "card_id").ok()
    });
    let closed = writing.state().is_some_and(|state| !state.is_open());
    let mut after = record.body.clone();
    for (field, value) in &fact.set {
        check(record.kind, field, author.role, class)?;
        if closed && fields::section(field).is_some() {
            let state = writing.state().map_or("", |state| state.word());
            return Err(at(
                "job_closed",
                field,
                format!("This job is {state} and takes no more work. Ask the office."),
            ));
        }
        fields::put(&mut after, field, value);
        fields::check(record.kind, &after).map_err(|error| refusal(error, field))?;
    }
    let place_id = match card {
        Some(Card::Job(job)) => Some(job.place_id),
        Some(Card::Container(container)) => Some(container.place_id),
        Some(Card::Pad(pad)) => Some(pad.place_id),
        _ => None,
    };

    // At a desk there is no lane, and what is typed now is later than all before it.
    let (stamp, adjusted) = match desk.lane {
        Some(lane) => {
            let arrived = clocks::stamp(entry, lane, now, &mut desk.replaced);
            (arrived.stamp, arrived.adjusted)
        }
        None => (writing.stamps.desk(now), false),
    };
    let by = Writer { member: author.member.0, entry: Some(entry.id) };
    let mut lost = Vec::new();
    if let Some(writing) = desk.writings.get_mut(&id) {
        for (field, value) in &fact.set {
            let seen = entry.seen.get(field).map(String::as_str);
            if writing.write(field, value, stamp, seen, by) == Outcome::Lost {
                lost.push(field.clone());
            }
        }
    }
    Ok((Basis { place_id, lost }, adjusted.then(clocks::ahead)))
}

/// The card that is held for writing, if it is the author's to write and still in use.
pub(super) fn held<'a>(
    desk: &'a Desk,
    id: Uuid,
    field: &str,
    author: Author,
) -> Result<&'a Writing, EntryRefusal> {
    if desk.deleted.contains(&id) {
        let sentence = "This card has been deleted, so nothing can be written on it any more.";
        return Err(EntryRefusal::at("card_deleted", field, sentence));
    }
    let (Some(writing), Some((card, _))) = (desk.writings.get(&id), desk.cards.by_id.get(&id)) else {
        return Err(no_such(field));
    };
    let seen = match (author.role, card) {
        (Role::Office | Role::Owner, _) => true,
        (Role::Technician, Card::Job(job)) => {
            author.home_place == Some(job.place_id) || job.crew.contains(&author.member)
        }
        (Role::Technician, Card::Container(container)) => author.home_place == Some(container.place_id),
        (Role::Technician, Card::Pad(pad)) => author.home_place == Some(pad.place_id),
        // A client or a vehicle may not even be theirs to know of.
        (Role::Technician, _) => false,
    };
    if !seen {
        return Err(no_such(field));
    }
    if writing.record.retired_at.is_some() {
        let sentence = "This card is retired: out of use since. Ask the office for another.";
        return Err(EntryRefusal::at("card_retired", field, sentence));
    }
    Ok(writing)
}

fn no_such(field: &str) -> EntryRefusal {
    let EntryRefusal { code, pointer, .. } = missing(field, Kind::Job);
    let sentence = "There is no card of that id here that you may write on. Check the id, or ask the office.";
    EntryRefusal { code, sentence: sentence.to_owned(), pointer }
}

fn check(kind: Kind, field: &str, role: Role, class: Option<&VehicleClass>) -> Result<(), EntryRefusal> {
    if !fields::may_write(kind, field, role) {
        let sentence = format!(
            "This field of a {} is not written from a phone by you. Ask the office.",
            kind.word().replace('_', " ")
        );
        return Err(at("field_not_yours", field, sentence));
    }
    if let Some((section, stage)) = fields::section(field) {
        let known = class.is_some_and(|class| fields::has(class, &format!("{section}/{stage}")));
        if !known {
            let sections: Vec<&str> =
                class.iter().flat_map(|class| &class.sections).map(|s| s.name.as_str()).collect();
            let sentence = format!(
                "Write sections/<section>/<stage>. The vehicle's class has the sections: {}.",
                sections.join(", ")
            );
            return Err(at("no_such_section", field, sentence));
        }
    } else if field.starts_with("sections/") {
        return Err(at("no_such_section", field, "Write sections/<section>/<stage>."));
    }
    Ok(())
}

fn at(code: &'static str, field: &str, sentence: impl Into<String>) -> EntryRefusal {
    EntryRefusal::at(code, &format!("set/{}", field.replace('~', "~0").replace('/', "~1")), sentence)
}

/// What is wrong with a value, as the checks of cards say it.
fn refusal(error: Error, field: &str) -> EntryRefusal {
    if let Error::Invalid { code, sentence, .. } = error {
        at(code, field, sentence)
    } else {
        at("bad_field", field, format!("{error}."))
    }
}

/// What is said of an entry that lost some of its fields.
pub(super) fn overtaken() -> EntryRefusal {
    EntryRefusal::new(
        "later_value",
        "Somebody wrote some of these fields later, so theirs stand. What you wrote is kept, and the office is shown it.",
    )
}
