//! Editing a card field by field, from a version its editor has seen.

use super::kinds::{Card, Container, Job, JobState, Kind, Pad};
use super::{booking, checks, create, crew, document, links, sections, trail, view, writing};
use crate::auth::{Office, Role};
use crate::error::Error;
use crate::store::cards::{self, CardRecord};
use crate::store::{Tx, card_uses, fields, jobs};
use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

/// Applies a merge patch (RFC 7396) to a card's body. A patch that changes nothing keeps the version.
///
/// # Errors
/// [`Error::Stale`] with the card as it stands, when it is not at `version` any more;
/// [`Error::Conflict`] when what has happened with the card forbids the change;
/// [`Error::Invalid`] when the card would not make sense; [`Error::NotAllowed`] for the fleet's
/// settings, which only the owner edits.
pub async fn edit(
    tx: &mut Tx,
    who: Office,
    id: Uuid,
    version: i64,
    patch: &Value,
    now: DateTime<Utc>,
) -> Result<CardRecord, Error> {
    let who = who.who();
    let record = cards::lock(tx, id).await?;
    if record.kind == Kind::Fleet && who.role != Role::Owner {
        return Err(Error::NotAllowed);
    }
    if record.version != version {
        return Err(view::stale(record, who));
    }
    if record.retired_at.is_some() {
        return Err(Error::conflict("retired", "This card is out of use. Create another in its place."));
    }
    let before = document::stored(record.kind, &record.body)?;
    let mut body = record.body.clone();
    document::merge(&mut body, patch);
    let after = document::read(record.kind, body)?;
    if after == before {
        return Ok(record);
    }
    checks::check(&after)?;
    may_change(tx, id, &before, &after).await?;
    let moves = match (&before, &after) {
        (Card::Job(before), Card::Job(after)) => trail::moves_parties(before, after),
        _ => false,
    };
    if moves {
        links::hold_parties(tx, &after, Some(&before)).await?;
    }
    let named = links::gather(tx, &after).await?;
    links::check(&after, Some(&before), &named)?;
    let columns = match (&before, &after) {
        (Card::Job(before), Card::Job(after)) => {
            crew::check(tx, after, Some(before)).await?;
            sections::check(tx, after, Some(before)).await?;
            let (fleet, kept) = (create::settings(tx).await?, jobs::find(tx, id).await?);
            Some(booking::columns(id, after, Some((before, &kept)), &fleet, &named)?)
        }
        _ => None,
    };

    let body = document::body(&after)?;
    let (stamps, values) = writing::desk_values(&record, &body, who.member.0, now);
    let changed = CardRecord { body, field_stamps: stamps.document(), ..record };
    let saved = cards::save(tx, &changed, version, now).await?;
    fields::append(tx, values, now).await?;
    let targets: Vec<Uuid> = named.keys().copied().collect();
    cards::save_links(tx, id, &targets).await?;
    if let Some(columns) = columns {
        jobs::save(tx, &columns).await?;
    }
    trail::tell(tx, &saved, Some(&before)).await?;
    Ok(saved)
}

/// Refuses changes that would belie what has been recorded with the card.
async fn may_change(tx: &mut Tx, id: Uuid, before: &Card, after: &Card) -> Result<(), Error> {
    match (before, after) {
        (Card::Fleet(before), Card::Fleet(after)) if before.currency != after.currency => {
            Err(Error::conflict(
                "currency_fixed",
                "The books are kept in the fleet's currency, so it stays. Make another fleet for another currency.",
            ))
        }
        (Card::Item(before), Card::Item(after)) if before.what != after.what => Err(Error::conflict(
            "item_kind_fixed",
            "A product, a supply and a pad model are counted differently, so this stays. Create another item.",
        )),
        (Card::Container(before), Card::Container(after)) if bottle(before) != bottle(after) => {
            if card_uses::is_opened(tx, id).await? {
                return Err(Error::conflict(
                    "container_opened",
                    "Its level is worked out from its product, size, tare and dose, so these stay once it was opened. Create another container.",
                ));
            }
            Ok(())
        }
        (Card::Pad(Pad { item_id: before, .. }), Card::Pad(Pad { item_id: after, .. }))
            if before != after =>
        {
            if card_uses::is_worked(tx, id).await? {
                return Err(Error::conflict(
                    "pad_in_use",
                    "This pad has been worked with, so its model stays. Create another pad.",
                ));
            }
            Ok(())
        }
        (Card::Vehicle(before), Card::Vehicle(after)) if before.client_id != after.client_id => {
            if cards::find_user(tx, id).await?.is_some() {
                return Err(Error::conflict(
                    "vehicle_booked",
                    "A job is booked for this vehicle and its client. Settle or cancel it first.",
                ));
            }
            Ok(())
        }
        (Card::Job(before), Card::Job(after)) => may_change_job(tx, id, before, after).await,
        _ => Ok(()),
    }
}

/// What a container's level is worked out from.
fn bottle(container: &Container) -> impl PartialEq {
    (container.item_id, container.nominal_ml, container.tare_g, container.dose)
}

/// Anywhere among the open states, from there to settled or cancelled, and no way back; of what is over
/// only the note may change.
async fn may_change_job(tx: &mut Tx, id: Uuid, before: &Job, after: &Job) -> Result<(), Error> {
    let noted = Job { note: after.note.clone(), ..before.clone() };
    match (before.state, after.state) {
        (JobState::Settled, _) if noted != *after => Err(Error::conflict(
            "job_settled",
            "This job is settled and in the books; only its note may change. Book the rest as another job.",
        )),
        (JobState::Cancelled, _) if noted != *after => Err(Error::conflict(
            "job_cancelled",
            "This job was cancelled; only its note may change. Book another.",
        )),
        (from, JobState::Cancelled) if from.is_open() && card_uses::has_work(tx, id).await? => {
            Err(Error::conflict(
                "job_has_work",
                "Work is recorded on this job. Reverse those entries first, or settle it.",
            ))
        }
        _ => Ok(()),
    }
}
