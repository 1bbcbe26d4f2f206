//! How a card looks to whoever asks: whole for the office, without money for a technician.

use super::document;
use super::kinds::{Card, Kind};
use super::stamps::Stamps;
use crate::auth::{Role, Who};
use crate::error::Error;
use crate::store::cards::CardRecord;
use chrono::{DateTime, Utc};
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::ToSchema;
use uuid::Uuid;

/// A card as it is read. A technician's copy has none of the fields that hold money.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CardView {
    /// Its id.
    pub id: Uuid,
    /// Goes up by one with every edit; also the `ETag`.
    #[schema(minimum = 1)]
    pub version: i64,
    /// Since when it is out of use.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub retired_at: Option<DateTime<Utc>>,
    /// What it is about, and its fields.
    #[serde(flatten)]
    pub card: Card,
}

/// The card as this member may see it.
///
/// # Errors
/// [`Error::Internal`] when a stored body does not fit its kind.
pub fn of(record: CardRecord, who: Who) -> Result<CardView, Error> {
    let CardRecord { id, kind, version, mut body, retired_at, .. } = record;
    match who.role {
        Role::Office | Role::Owner => {}
        Role::Technician => take_money_out(kind, &mut body),
    }
    Ok(CardView { id, version, retired_at, card: document::stored(kind, &body)? })
}

/// The current state handed back with a refusal of a stale edit.
pub(super) fn stale(record: CardRecord, who: Who) -> Error {
    match of(record, who).and_then(|view| serde_json::to_value(view).map_err(Error::internal)) {
        Ok(current) => Error::Stale { current },
        Err(error) => error,
    }
}

/// What phones receive of a card: its version, its fields without money, the stamps of those that were
/// written since it was made, and whether it is retired.
#[must_use]
pub fn for_phones(record: &CardRecord) -> Value {
    let mut body = record.body.clone();
    take_money_out(record.kind, &mut body);
    let mut told = json!({ "version": record.version, "body": body });
    if let Some(fields) = told.as_object_mut() {
        let stamps = Stamps::of(record);
        let stamps = stamps.texts();
        if !stamps.is_empty() {
            fields.insert("stamps".to_owned(), json!(stamps));
        }
        if let Some(at) = record.retired_at {
            fields.insert("retired_at".to_owned(), json!(at));
        }
    }
    told
}

fn take_money_out(kind: Kind, body: &mut Value) {
    if let Some(fields) = body.as_object_mut() {
        for name in kind.money() {
            fields.remove(*name);
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use std::collections::BTreeSet;

    /// The API document knows which fields are amounts; the list of what is taken out must have them all.
    #[test]
    fn every_field_that_holds_an_amount_is_taken_out() {
        let document: Value = serde_json::from_str(&crate::openapi::document().unwrap()).unwrap();
        let schemas = &document["components"]["schemas"];
        let no_money: &[&str] = &[];
        let names = ["Section", "Stage"].into_iter().map(|name| (name.to_owned(), no_money));
        let kinds = Kind::ALL.into_iter().map(|kind| (camel_case(kind.word()), kind.money()));
        for (name, money) in kinds.chain(names) {
            let fields = schemas[&name]["properties"].as_object().unwrap();
            let amounts: BTreeSet<&str> = fields
                .iter()
                .filter(|(_, schema)| schema.to_string().contains("schemas/Amount\""))
                .map(|(field, _)| field.as_str())
                .collect();
            assert_eq!(amounts, money.iter().copied().collect(), "{name}");
        }
    }

    fn camel_case(word: &str) -> String {
        let capital = |part: &str| part[..1].to_uppercase() + &part[1..];
        word.split('_').map(capital).collect()
    }
}
