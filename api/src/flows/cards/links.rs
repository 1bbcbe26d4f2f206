//! Whether the cards a card names are there, are what they must be, and go together.

use super::document;
use super::kinds::{Card, Item, ItemKind};
use crate::error::Error;
use crate::store::Tx;
use crate::store::cards::{self, CardRecord, Hold};
use std::collections::HashMap;
use uuid::Uuid;

/// The named cards by id.
pub(super) type Named = HashMap<Uuid, CardRecord>;

/// The cards this one names, held so that nobody retires them meanwhile.
pub(super) async fn gather(tx: &mut Tx, card: &Card) -> Result<Named, Error> {
    let ids: Vec<Uuid> = card.links().iter().map(|link| link.target_id).collect();
    cards::lock_many(tx, &ids, Hold::Share).await
}

/// Holds the clients and vehicles whose vans may change with this job, before anything else is
/// gathered: of two jobs of one client, the later to end must know of the earlier.
pub(super) async fn hold_parties(tx: &mut Tx, card: &Card, before: Option<&Card>) -> Result<(), Error> {
    let jobs = || [before, Some(card)].into_iter().flatten().filter_map(Card::job);
    // A vehicle's edit holds the vehicle first and its client next; the same order here.
    let vehicles: Vec<Uuid> = jobs().map(|job| job.vehicle_id).collect();
    let clients: Vec<Uuid> = jobs().map(|job| job.client_id).collect();
    cards::lock_many(tx, &vehicles, Hold::Edit).await?;
    cards::lock_many(tx, &clients, Hold::Edit).await?;
    Ok(())
}

/// Refuses a card that names what is not there or does not fit. What the card named `before` may
/// have been retired since; a card of another fleet is answered like one that never was.
pub(super) fn check(card: &Card, before: Option<&Card>, named: &Named) -> Result<(), Error> {
    let kept: Vec<Uuid> =
        before.map(|card| card.links().iter().map(|link| link.target_id).collect()).unwrap_or_default();
    for link in card.links() {
        let fits = named
            .get(&link.target_id)
            .filter(|record| record.kind == link.kind)
            .is_some_and(|record| record.retired_at.is_none() || kept.contains(&record.id));
        if !fits {
            return Err(Error::invalid_at(
                "no_such_record",
                link.pointer,
                format!(
                    "There is no {} in use of that id here. Create it first, or name another.",
                    link.kind.word()
                ),
            ));
        }
    }
    match card {
        Card::Container(container) => must_be(ItemKind::Product, "/item_id", container.item_id, named),
        Card::Pad(pad) => must_be(ItemKind::PadModel, "/item_id", pad.item_id, named),
        Card::Recipe(recipe) => {
            for (i, stage) in recipe.stages.iter().enumerate() {
                if let Some(id) = stage.item_id {
                    must_be(ItemKind::Product, &format!("/stages/{i}/item_id"), id, named)?;
                }
                if let Some(id) = stage.pad_item_id {
                    must_be(ItemKind::PadModel, &format!("/stages/{i}/pad_item_id"), id, named)?;
                }
            }
            Ok(())
        }
        Card::Job(job) => match named.get(&job.vehicle_id).map(typed).transpose()? {
            Some(Card::Vehicle(vehicle)) if vehicle.client_id != job.client_id => Err(Error::invalid_at(
                "vehicle_of_other_client",
                "/vehicle_id",
                "This vehicle belongs to another client. Name one of this client's, or the other client.",
            )),
            _ => Ok(()),
        },
        Card::Fleet(_)
        | Card::Place(_)
        | Card::Item(_)
        | Card::Machine(_)
        | Card::VehicleClass(_)
        | Card::Client(_)
        | Card::Vehicle(_)
        | Card::Service(_) => Ok(()),
    }
}

fn must_be(what: ItemKind, pointer: &str, id: Uuid, named: &Named) -> Result<(), Error> {
    match named.get(&id).map(typed).transpose()? {
        Some(Card::Item(Item { what: found, .. })) if found == what => Ok(()),
        _ => {
            let (code, word) = match what {
                ItemKind::Product => ("not_a_product", "a product"),
                ItemKind::Supply => ("not_a_supply", "a supply"),
                ItemKind::PadModel => ("not_a_pad_model", "a pad model"),
            };
            Err(Error::invalid_at(
                code,
                pointer,
                format!("The item named here must be {word}. Name another."),
            ))
        }
    }
}

fn typed(record: &CardRecord) -> Result<Card, Error> {
    document::stored(record.kind, &record.body)
}

#[cfg(test)]
mod tests {
    use super::super::kinds::Kind;
    use super::*;
    use serde_json::{Value, json};

    fn record(n: u128, kind: Kind, body: Value) -> (Uuid, CardRecord) {
        let id = Uuid::from_u128(n);
        (id, CardRecord { id, kind, version: 1, body, retired_at: None, field_stamps: None })
    }

    fn world() -> Named {
        HashMap::from([
            record(1, Kind::Place, json!({"name": "Van", "what": "van"})),
            record(2, Kind::Item, json!({"name": "Compound", "what": "product"})),
            record(3, Kind::Item, json!({"name": "Pad", "what": "pad_model"})),
            record(4, Kind::Client, json!({"name": "A"})),
            record(5, Kind::Client, json!({"name": "B"})),
            record(
                6,
                Kind::Vehicle,
                json!({"client_id": Uuid::from_u128(5), "vehicle_class_id": Uuid::from_u128(9), "description": "x"}),
            ),
        ])
    }

    fn pad(item: u128, place: u128) -> Card {
        let body =
            json!({"label": "P", "item_id": Uuid::from_u128(item), "place_id": Uuid::from_u128(place)});
        document::read(Kind::Pad, body).expect("a pad")
    }

    fn refusal(answer: Result<(), Error>) -> Option<(&'static str, String)> {
        match answer {
            Ok(()) => None,
            Err(Error::Invalid { code, pointer, .. }) => Some((code, pointer.unwrap_or_default())),
            Err(other) => panic!("{other}"),
        }
    }

    #[test]
    fn names_must_be_there_in_use_and_of_the_right_kind() {
        let mut named = world();
        assert_eq!(refusal(check(&pad(3, 1), None, &named)), None);
        let missing = Some(("no_such_record", "/place_id".to_owned()));
        assert_eq!(refusal(check(&pad(3, 77), None, &named)), missing);
        assert_eq!(refusal(check(&pad(3, 4), None, &named)), missing, "a client is no place");
        let product = Some(("not_a_pad_model", "/item_id".to_owned()));
        assert_eq!(refusal(check(&pad(2, 1), None, &named)), product);
        named.entry(Uuid::from_u128(1)).and_modify(|van| van.retired_at = Some(chrono::DateTime::UNIX_EPOCH));
        assert_eq!(refusal(check(&pad(3, 1), None, &named)), missing, "the van is retired");
        assert_eq!(refusal(check(&pad(3, 1), Some(&pad(3, 1)), &named)), None, "it stood there before");
    }

    #[test]
    fn a_jobs_vehicle_is_its_clients() {
        let id = Uuid::from_u128;
        let job = |client| {
            let body = json!({"place_id": id(1), "client_id": id(client), "vehicle_id": id(6), "crew": [],
                "service_ids": [], "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T19:00:00Z",
                "state": "booked"});
            document::read(Kind::Job, body).expect("a job")
        };
        assert_eq!(refusal(check(&job(5), None, &world())), None);
        let other = Some(("vehicle_of_other_client", "/vehicle_id".to_owned()));
        assert_eq!(refusal(check(&job(4), None, &world())), other);
    }
}
