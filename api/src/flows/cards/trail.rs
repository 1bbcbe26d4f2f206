//! What phones are told of a card, and whose: the whole fleet, or the vans it concerns.

use super::kinds::{Card, Job, JobState, Kind};
use super::{document, moved, view};
use crate::error::Error;
use crate::store::cards::{self, CardRecord};
use crate::store::jobs::{self, Party};
use crate::store::trail::Told;
use crate::store::{TrailRow, Tx};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Tells a card that is new or has changed to everyone it concerns. `before` is the card before the
/// edit; a place it has left is told so.
pub(super) async fn tell(tx: &mut Tx, record: &CardRecord, before: Option<&Card>) -> Result<(), Error> {
    let card = document::stored(record.kind, &record.body)?;
    match &card {
        Card::Fleet(_)
        | Card::Place(_)
        | Card::Item(_)
        | Card::Machine(_)
        | Card::VehicleClass(_)
        | Card::Recipe(_)
        | Card::Service(_) => {
            let everyone = tx.fleet().0;
            say(tx, everyone, record, here(record));
        }
        Card::Container(_) | Card::Pad(_) | Card::Job(_) => {
            let (place, there) = (place_of(&card), before.and_then(place_of));
            if let Some(there) = there.filter(|there| Some(*there) != place) {
                say(tx, there, record, Told::Left);
                if let Some(place) = place {
                    moved::tell(tx, record.kind, record.id, there, place).await?;
                }
            }
            if let Some(place) = place {
                say(tx, place, record, here(record));
            }
        }
        Card::Client(_) => tell_vans(tx, record, Party::Client(record.id)).await?,
        Card::Vehicle(_) => tell_vans(tx, record, Party::Vehicle(record.id)).await?,
    }
    if let Card::Job(job) = &card {
        let before = match before {
            Some(Card::Job(before)) => Some(before),
            _ => None,
        };
        tell_parties(tx, job, before).await?;
    }
    Ok(())
}

/// Tells everyone who knows of a card that it has been deleted. Nothing names it, so no van has it
/// through a job.
pub(super) async fn tell_deleted(tx: &mut Tx, record: &CardRecord, card: &Card) -> Result<(), Error> {
    let audience = match card {
        Card::Client(_) | Card::Vehicle(_) => return Ok(()),
        Card::Container(_) | Card::Pad(_) | Card::Job(_) => place_of(card).unwrap_or(tx.fleet().0),
        Card::Fleet(_)
        | Card::Place(_)
        | Card::Item(_)
        | Card::Machine(_)
        | Card::VehicleClass(_)
        | Card::Recipe(_)
        | Card::Service(_) => tx.fleet().0,
    };
    say(tx, audience, record, Told::Deleted);
    if let Card::Job(job) = card {
        let gone = Job { state: JobState::Cancelled, ..job.clone() };
        tell_parties(tx, &gone, Some(job)).await?;
    }
    Ok(())
}

fn say(tx: &mut Tx, audience_id: Uuid, record: &CardRecord, told: Told) {
    tx.tell(TrailRow { audience_id, record_id: record.id, kind: record.kind.word(), told });
}

fn here(record: &CardRecord) -> Told {
    Told::Here(view::for_phones(record))
}

/// Where a card is, if only that place is told of it.
fn place_of(card: &Card) -> Option<Uuid> {
    match card {
        Card::Container(container) => Some(container.place_id),
        Card::Pad(pad) => Some(pad.place_id),
        Card::Job(job) => Some(job.place_id),
        Card::Fleet(_)
        | Card::Place(_)
        | Card::Item(_)
        | Card::Machine(_)
        | Card::VehicleClass(_)
        | Card::Recipe(_)
        | Card::Client(_)
        | Card::Vehicle(_)
        | Card::Service(_) => None,
    }
}

async fn tell_vans(tx: &mut Tx, record: &CardRecord, party: Party) -> Result<(), Error> {
    for van in jobs::places_with(tx, party).await? {
        say(tx, van, record, here(record));
    }
    Ok(())
}

/// An open job brings its client and vehicle to its van; the last one that goes takes them away.
/// The job's own columns must have been saved.
async fn tell_parties(tx: &mut Tx, job: &Job, before: Option<&Job>) -> Result<(), Error> {
    if before.is_some_and(|before| !moves_parties(before, job)) {
        return Ok(());
    }
    let mut concerned: BTreeSet<(Uuid, Party)> = BTreeSet::new();
    for job in before.into_iter().chain([job]).filter(|job| job.state.is_open()) {
        concerned.insert((job.place_id, Party::Client(job.client_id)));
        concerned.insert((job.place_id, Party::Vehicle(job.vehicle_id)));
    }
    let ids: Vec<Uuid> = concerned.iter().map(|(_, party)| id_of(*party)).collect();
    let records = cards::find_many(tx, &ids).await?;
    for (van, party) in concerned {
        let Some(record) = records.get(&id_of(party)) else { continue };
        let told = if jobs::places_with(tx, party).await?.contains(&van) { here(record) } else { Told::Left };
        say(tx, van, record, told);
    }
    Ok(())
}

/// Whether an edit of a job changes which vans see which clients and vehicles.
pub(super) fn moves_parties(before: &Job, after: &Job) -> bool {
    let concerns = |job: &Job| (job.place_id, job.client_id, job.vehicle_id, job.state.is_open());
    concerns(before) != concerns(after)
}

const fn id_of(party: Party) -> Uuid {
    match party {
        Party::Client(id) | Party::Vehicle(id) => id,
    }
}

/// Which kinds a technician sees only through an open job of their van.
pub(super) const fn party(kind: Kind, id: Uuid) -> Option<Party> {
    match kind {
        Kind::Client => Some(Party::Client(id)),
        Kind::Vehicle => Some(Party::Vehicle(id)),
        Kind::Fleet
        | Kind::Place
        | Kind::Item
        | Kind::Container
        | Kind::Pad
        | Kind::Machine
        | Kind::VehicleClass
        | Kind::Recipe
        | Kind::Service
        | Kind::Job => None,
    }
}
