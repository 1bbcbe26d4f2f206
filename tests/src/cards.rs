//! One card of every kind, made through the front door, for tests that need a fleet at work.

use crate::Client;
use dropwise::ids::fresh;
use serde_json::{Value, json};
use uuid::Uuid;

/// The ids of a small fleet's cards: each names only what it must.
#[derive(Debug, Clone, Copy)]
pub struct Cards {
    /// A van.
    pub van: Uuid,
    /// Another van.
    pub other_van: Uuid,
    /// A depot.
    pub depot: Uuid,
    /// A product.
    pub product: Uuid,
    /// A supply.
    pub supply: Uuid,
    /// A pad model.
    pub pad_model: Uuid,
    /// A bottle of the product, in the van.
    pub container: Uuid,
    /// A pad of the model, in the van.
    pub pad: Uuid,
    /// A polisher, in the van.
    pub machine: Uuid,
    /// A vehicle class of two sections: `hood` 1.6 m², `roof` 1.4 m².
    pub vehicle_class: Uuid,
    /// A recipe of one stage, with the product and the pad model.
    pub recipe: Uuid,
    /// A client.
    pub client: Uuid,
    /// Their vehicle.
    pub vehicle: Uuid,
    /// A service by the recipe, at 240.50.
    pub service: Uuid,
    /// A job of the van for that client, on 2 March 2026 from 08:00 to 12:00 in Denver.
    pub job: Uuid,
}

impl Cards {
    /// Creates them all, asking as `office`.
    #[must_use]
    pub fn create(office: &Client) -> Self {
        let make = |kind: &str, body: Value| create(office, kind, &body);
        let van = make("place", json!({"name": "Van 1", "what": "van"}));
        let product =
            make("item", json!({"name": "Cutting compound", "what": "product", "density_g_per_ml": "1.1"}));
        let pad_model = make(
            "item",
            json!({"name": "Foam pad", "what": "pad_model", "diameter_cm": "15", "expected_cycles": 60,
                   "wash_after_cycles": 6, "salvage_amount": "0.50"}),
        );
        let vehicle_class = make(
            "vehicle_class",
            json!({"name": "Sedan", "sections": [{"name": "hood", "area_m2": "1.6"}, {"name": "roof", "area_m2": "1.4"}]}),
        );
        let recipe = make(
            "recipe",
            json!({"name": "One step", "stages": [{"what": "polishing", "item_id": product,
                   "pad_item_id": pad_model, "ml_per_m2": "3", "min_per_m2": "7.5"}]}),
        );
        let client = make("client", json!({"name": "A client of the tests", "address": "12 Kerb Street"}));
        let vehicle = make(
            "vehicle",
            json!({"client_id": client, "vehicle_class_id": vehicle_class, "description": "Grey sedan"}),
        );
        let service = make(
            "service",
            json!({"name": "One-step polish", "recipe_id": recipe, "price_amount": "240.50"}),
        );
        Self {
            van,
            other_van: make("place", json!({"name": "Van 2", "what": "van"})),
            depot: make("place", json!({"name": "Depot", "what": "depot"})),
            product,
            supply: make("item", json!({"name": "Towel", "what": "supply"})),
            pad_model,
            container: make(
                "container",
                json!({"label": "B-1", "item_id": product, "place_id": van, "nominal_ml": "500",
                       "tare_g": "62.5", "dose": "drop"}),
            ),
            pad: make("pad", json!({"label": "P-1", "item_id": pad_model, "place_id": van})),
            machine: make("machine", json!({"label": "M-1", "place_id": van, "hourly_cost_amount": "1.75"})),
            vehicle_class,
            recipe,
            client,
            vehicle,
            service,
            job: make(
                "job",
                json!({"place_id": van, "client_id": client, "vehicle_id": vehicle, "crew": [],
                       "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T19:00:00Z",
                       "service_ids": [service], "state": "booked"}),
            ),
        }
    }
}

/// Creates one card under a fresh id.
#[track_caller]
#[must_use]
pub fn create(office: &Client, kind: &str, body: &Value) -> Uuid {
    let id = fresh();
    let _ = office.put(&path(id), &json!({"kind": kind, "body": body})).expect(201);
    id
}

/// Edits one card from its present version.
#[track_caller]
pub fn edit(office: &Client, id: Uuid, patch: &Value) {
    let etag = office.get(&path(id)).expect(200).etag();
    let _ = office.patch(&path(id), &etag, patch).expect(200);
}

/// Where a card is.
#[must_use]
pub fn path(id: Uuid) -> String {
    format!("/v1/cards/{id}")
}
