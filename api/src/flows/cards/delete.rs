//! Deleting a card that was only ever a draft: nothing names it and nothing was recorded with it.
//! Its id is kept for ever, so that nothing comes back under it.

use super::kinds::Kind;
use super::{document, links, trail, view};
use crate::auth::Office;
use crate::error::Error;
use crate::store::{Tx, card_uses, cards};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Deletes a card for good. Deletion wins over edits that phones still carry: they are refused.
///
/// # Errors
/// [`Error::Stale`] with the card as it stands, when it is not at `version` any more;
/// [`Error::Conflict`] when something names it, or a fact was recorded with it.
pub async fn delete(
    tx: &mut Tx,
    who: Office,
    id: Uuid,
    version: i64,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let record = match cards::lock(tx, id).await {
        Err(Error::NotFound) if cards::find_deleted(tx, &[id]).await?.contains(&id) => return Ok(()),
        other => other?,
    };
    if record.version != version {
        return Err(view::stale(record, who.who()));
    }
    match record.kind {
        Kind::Fleet => {
            return Err(Error::conflict(
                "one_fleet_card",
                "A fleet cannot be without its settings. Edit them.",
            ));
        }
        Kind::Place | Kind::Machine => {
            return Err(Error::conflict(
                "retire_instead",
                "Drives, stock and machine time name it, so it is kept. Take it out of use instead.",
            ));
        }
        Kind::Item
        | Kind::Container
        | Kind::Pad
        | Kind::VehicleClass
        | Kind::Recipe
        | Kind::Client
        | Kind::Vehicle
        | Kind::Service
        | Kind::Job => {}
    }
    if cards::is_named(tx, id).await? {
        let sentence =
            "Another card names this one. Edit or delete that one first, or take this one out of use.";
        return Err(Error::conflict("still_used", sentence));
    }
    if card_uses::has_facts(tx, id).await? {
        let sentence = "Something was recorded with this card, so it is kept. Take it out of use instead.";
        return Err(Error::conflict("has_facts", sentence));
    }
    let card = document::stored(record.kind, &record.body)?;
    links::hold_parties(tx, &card, None).await?;
    cards::delete(tx, &record, who.who().member, now).await?;
    trail::tell_deleted(tx, &record, &card).await
}
