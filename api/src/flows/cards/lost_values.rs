//! Values that lost to a later stamp: shown to the office, who keeps what stands or uses what lost.

use super::kinds::Kind;
use super::writing::{Writer, Writing};
use super::{document, fields};
use crate::auth::Office;
use crate::error::Error;
use crate::store::cards::CardRecord;
use crate::store::fields::{self as history, FieldValue};
use crate::store::{Tx, cards};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;
use uuid::Uuid;

/// What to do with a value that lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Decision {
    /// The card stays as it is.
    Keep,
    /// The lost value becomes the card's, as if the office had typed it now.
    UseIt,
}

impl Decision {
    const fn word(self) -> &'static str {
        match self {
            Self::Keep => "keep",
            Self::UseIt => "use_it",
        }
    }
}

/// A value that lost, and what stands in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Lost {
    /// What lost.
    pub value: FieldValue,
    /// The card's kind; nothing when the card has been deleted.
    pub kind: Option<Kind>,
    /// What the field holds now.
    pub current: Value,
}

/// Lost values that wait for a look, oldest first.
///
/// # Errors
/// Those of the database.
pub async fn list(tx: &mut Tx, _: Office, after: Option<Uuid>, limit: i64) -> Result<Vec<Lost>, Error> {
    let values = history::list_lost(tx, after, limit).await?;
    let ids: Vec<Uuid> = values.iter().map(|value| value.card_id).collect();
    let found = cards::find_many(tx, &ids).await?;
    Ok(values.into_iter().map(|value| beside(found.get(&value.card_id), value)).collect())
}

fn beside(card: Option<&CardRecord>, value: FieldValue) -> Lost {
    Lost {
        kind: card.map(|card| card.kind),
        current: card.map_or(Value::Null, |card| fields::value_of(&card.body, &value.field)),
        value,
    }
}

/// Decides on one. The same decision again changes nothing.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::Conflict`] when it was decided otherwise, or the card does not take
/// the value any more.
pub async fn decide(
    tx: &mut Tx,
    who: Office,
    id: Uuid,
    decision: Decision,
    now: DateTime<Utc>,
) -> Result<Lost, Error> {
    let member = who.who().member;
    // Cards are held before their history, here as in every other flow.
    let card_id = history::find_lost(tx, id).await?.card_id;
    let card = match cards::lock(tx, card_id).await {
        Err(Error::NotFound) => None,
        found => Some(found?),
    };
    let lost = history::lock_lost(tx, id).await?;
    match lost.decision.as_deref() {
        Some(before) if before == decision.word() => return Ok(beside(card.as_ref(), lost)),
        Some(_) => {
            let sentence = "This has been decided already. Edit the card if it should be otherwise.";
            return Err(Error::conflict("already_decided", sentence));
        }
        None => {}
    }
    let card = match decision {
        Decision::Keep => card,
        Decision::UseIt => Some(use_it(tx, card, &lost, member.0, now).await?),
    };
    history::decide(tx, id, decision.word(), member, now).await?;
    let decided = FieldValue { decision: Some(decision.word().to_owned()), ..lost };
    Ok(beside(card.as_ref(), decided))
}

async fn use_it(
    tx: &mut Tx,
    card: Option<CardRecord>,
    lost: &FieldValue,
    member: Uuid,
    now: DateTime<Utc>,
) -> Result<CardRecord, Error> {
    let Some(card) = card else {
        return Err(Error::conflict("card_deleted", "This card has been deleted. Only keep is left."));
    };
    if card.retired_at.is_some() {
        return Err(Error::conflict("retired", "This card is out of use. Only keep is left."));
    }
    let closed = document::stored(card.kind, &card.body)?.job().is_some_and(|job| !job.state.is_open());
    if closed && fields::section(&lost.field).is_some() {
        let sentence = "This job takes no more work, so its sections stay as they are. Only keep is left.";
        return Err(Error::conflict("job_closed", sentence));
    }
    let mut writing = Writing::of(card)?;
    let mut body = writing.record.body.clone();
    fields::put(&mut body, &lost.field, &lost.value);
    fields::check(writing.record.kind, &body)?;
    let stamp = writing.stamps.desk(now);
    // The office has seen what stands: the list shows it.
    let seen = writing.stamps.get(&lost.field).map(|stamp| stamp.text());
    let by = Writer { member, entry: None };
    let _ = writing.write(&lost.field, &lost.value, stamp, seen.as_deref(), by);
    let after = writing.record.clone();
    writing.save(tx, now).await?;
    Ok(after)
}
