//! Creating a card, once, however often it is sent.

use super::kinds::{Card, Fleet, JobState, Kind};
use super::{booking, checks, crew, document, links, sections, trail};
use crate::auth::Office;
use crate::error::Error;
use crate::store::cards::{self, CardRecord};
use crate::store::{Tx, jobs};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// A card, and whether this was the first time it was sent.
#[derive(Debug, Clone, PartialEq)]
pub struct Created {
    /// As it stands now: another may have edited it since it was first sent.
    pub record: CardRecord,
    /// Whether it was not there before.
    pub first: bool,
}

/// Keeps a new card under the caller's own id.
///
/// # Errors
/// [`Error::Conflict`] `id_taken` when the id is another card's; [`Error::Invalid`] when a field
/// cannot be right or names what is not there.
pub async fn create(
    tx: &mut Tx,
    _: Office,
    id: Uuid,
    card: &Card,
    now: DateTime<Utc>,
) -> Result<Created, Error> {
    if card.kind() == Kind::Fleet {
        return Err(Error::conflict(
            "one_fleet_card",
            "A fleet has one card of its own settings, made with the fleet. Edit that one.",
        ));
    }
    if id.get_version_num() != 7 {
        return Err(Error::invalid(
            "id_not_v7",
            "The id must be a UUID of version 7 (RFC 9562). Make a new one.",
        ));
    }
    let digest = document::digest(card)?;
    if let Some(found) = cards::find_created(tx, id).await? {
        return again(found, &digest);
    }
    if cards::find_deleted(tx, &[id]).await?.contains(&id) {
        return Err(Error::conflict(
            "card_deleted",
            "A card of this id was made and deleted. Make the new one under a new id.",
        ));
    }
    let within = |error: Error| error.under("/body");
    checks::check(card).map_err(within)?;
    links::hold_parties(tx, card, None).await?;
    let named = links::gather(tx, card).await?;
    links::check(card, None, &named).map_err(within)?;
    let columns = match card.job() {
        None => None,
        Some(job) if job.state != JobState::Booked => {
            let sentence = "A job starts as booked. Book it, and settle or cancel it afterwards.";
            return Err(Error::invalid_at("job_not_booked", "/body/state", sentence));
        }
        Some(job) => {
            crew::check(tx, job, None).await.map_err(within)?;
            sections::check(tx, job, None).await.map_err(within)?;
            let fleet = settings(tx).await?;
            Some(booking::columns(id, job, None, &fleet, &named).map_err(within)?)
        }
    };

    let body = document::body(card)?;
    if !cards::insert(tx, id, card.kind(), &body, &digest, now).await? {
        // Another request with this id came in between; it has ended by now.
        let found = cards::find_created(tx, id).await?.ok_or(Error::NotFound)?;
        return again(found, &digest);
    }
    let targets: Vec<Uuid> = named.keys().copied().collect();
    cards::save_links(tx, id, &targets).await?;
    if let Some(columns) = columns {
        jobs::save(tx, &columns).await?;
    }
    let record = CardRecord { id, kind: card.kind(), version: 1, body, retired_at: None, field_stamps: None };
    trail::tell(tx, &record, None).await?;
    Ok(Created { record, first: true })
}

/// Keeps the card of a fleet that is being made; its id is the fleet's own.
///
/// # Errors
/// [`Error::Invalid`] when a field cannot be right; [`Error::Duplicate`] when the fleet has one.
pub async fn create_fleet_card(tx: &mut Tx, fleet: &Fleet, now: DateTime<Utc>) -> Result<CardRecord, Error> {
    let card = Card::Fleet(fleet.clone());
    checks::check(&card)?;
    let (id, body) = (tx.fleet().0, document::body(&card)?);
    if !cards::insert(tx, id, Kind::Fleet, &body, &document::digest(&card)?, now).await? {
        return Err(Error::Duplicate("cards".into()));
    }
    let record = CardRecord { id, kind: Kind::Fleet, version: 1, body, retired_at: None, field_stamps: None };
    trail::tell(tx, &record, None).await?;
    Ok(record)
}

/// The fleet's own settings.
///
/// # Errors
/// [`Error::Internal`] when its card is missing or is none.
pub async fn settings(tx: &mut Tx) -> Result<Fleet, Error> {
    let id = tx.fleet().0;
    let found = cards::find_many(tx, &[id]).await?;
    let record = found.get(&id).ok_or_else(|| Error::internal("a fleet without its card"))?;
    if let Card::Fleet(fleet) = document::stored(record.kind, &record.body)? {
        Ok(fleet)
    } else {
        Err(Error::internal("a fleet's id on another card"))
    }
}

fn again((record, created): (CardRecord, Vec<u8>), digest: &[u8]) -> Result<Created, Error> {
    if created == digest {
        Ok(Created { record, first: false })
    } else {
        Err(Error::conflict(
            "id_taken",
            "This id was used to create something else. Edit that card, or send this one under a new id.",
        ))
    }
}
