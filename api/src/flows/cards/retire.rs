//! Taking a card out of use. It stays readable, and what was recorded with it stays true.

use super::kinds::{Card, JobState, Kind};
use super::{document, trail, view};
use crate::auth::Office;
use crate::error::Error;
use crate::store::cards::{self, CardRecord};
use crate::store::{Tx, card_uses, crew};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Retires a card that nothing in use depends on.
///
/// # Errors
/// [`Error::Stale`] with the card as it stands, when it is not at `version` any more;
/// [`Error::Conflict`] while something in use still depends on it.
pub async fn retire(
    tx: &mut Tx,
    who: Office,
    id: Uuid,
    version: i64,
    now: DateTime<Utc>,
) -> Result<CardRecord, Error> {
    let record = cards::lock(tx, id).await?;
    if record.version != version {
        return Err(view::stale(record, who.who()));
    }
    if record.retired_at.is_some() {
        return Ok(record);
    }
    let card = document::stored(record.kind, &record.body)?;
    may_retire(tx, id, &card).await?;

    let retired = CardRecord { retired_at: Some(now), ..record };
    let saved = cards::save(tx, &retired, version, now).await?;
    trail::tell(tx, &saved, Some(&card)).await?;
    Ok(saved)
}

async fn may_retire(tx: &mut Tx, id: Uuid, card: &Card) -> Result<(), Error> {
    if card.kind() == Kind::Fleet {
        return Err(Error::conflict("one_fleet_card", "A fleet cannot be without its settings. Edit them."));
    }
    if card.job().is_some_and(|job| job.state != JobState::Cancelled) {
        let sentence =
            "A job that is open or settled counts in its month. Cancel it if it is not to be done.";
        return Err(Error::conflict("job_counts", sentence));
    }
    if let Some(user) = cards::find_user(tx, id).await? {
        return Err(Error::conflict("still_used", still_used(user.kind)));
    }
    if matches!(card, Card::Place(_)) && crew::is_home(tx, id).await? {
        let sentence = "A member works from this place. Give them another home place first.";
        return Err(Error::conflict("still_used", sentence));
    }
    if matches!(card, Card::Place(_) | Card::Item(_)) && card_uses::has_stock(tx, id).await? {
        let sentence = "There is stock of it in the books. Move it, use it up or write it off first.";
        return Err(Error::conflict("still_stocked", sentence));
    }
    Ok(())
}

fn still_used(by: Kind) -> String {
    format!("A {} in use names this card. Edit or retire that one first.", by.word().replace('_', " "))
}
