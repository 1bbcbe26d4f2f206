//! The cards people keep, kind by kind: their fields, their bounds, and which other cards they name.
//!
//! A card travels and is stored as the same JSON document; fields that hold money are listed per
//! kind, and a technician's copy never contains them.

use crate::ids::MemberId;
use crate::values::{Amount, Quantity};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;
use uuid::Uuid;

pub use crate::sync::rules::job_state::State as JobState;

/// What a card is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// The business and its settings; one per fleet.
    Fleet,
    /// A depot or a van.
    Place,
    /// A product, a supply or a pad model.
    Item,
    /// One bottle, jug or spray bottle.
    Container,
    /// One pad.
    Pad,
    /// One polisher.
    Machine,
    /// A size of vehicle, with the areas of its sections.
    VehicleClass,
    /// The ordered stages for a result.
    Recipe,
    /// A customer.
    Client,
    /// A customer's vehicle.
    Vehicle,
    /// Something that is sold.
    Service,
    /// A booked piece of work.
    Job,
}

/// A card's content, tagged by its kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", content = "body", rename_all = "snake_case", deny_unknown_fields)]
pub enum Card {
    /// See [`Fleet`].
    Fleet(Fleet),
    /// See [`Place`].
    Place(Place),
    /// See [`Item`].
    Item(Item),
    /// See [`Container`].
    Container(Container),
    /// See [`Pad`].
    Pad(Pad),
    /// See [`Machine`].
    Machine(Machine),
    /// See [`VehicleClass`].
    VehicleClass(VehicleClass),
    /// See [`Recipe`].
    Recipe(Recipe),
    /// See [`Client`].
    Client(Client),
    /// See [`Vehicle`].
    Vehicle(Vehicle),
    /// See [`Service`].
    Service(Service),
    /// See [`Job`].
    Job(Job),
}

/// The business and its settings. Its card has the fleet's own id.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Fleet {
    /// Name on papers.
    #[schema(max_length = 120)]
    pub name: String,
    /// ISO 4217 code; fixed once the fleet exists.
    #[schema(pattern = "^[A-Z]{3}$")]
    pub currency: String,
    /// IANA time zone that days and months are counted in.
    #[schema(example = "America/Denver", max_length = 64)]
    pub zone: String,
    /// What a driven kilometre costs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub travel_cost_per_km_amount: Option<Amount>,
    /// Standard deviation of the kitchen scales in use (g); 1 g when not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale_sd_g: Option<Quantity>,
}

/// What a place is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PlaceKind {
    /// A fixed store.
    Depot,
    /// A van with a crew.
    Van,
}

/// Where stock is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Place {
    /// Name on lists.
    #[schema(max_length = 120)]
    pub name: String,
    /// Depot or van.
    pub what: PlaceKind,
}

/// What an item is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ItemKind {
    /// A chemical, kept by volume.
    Product,
    /// Towels, tape, gloves: counted.
    Supply,
    /// A model of pad: counted, each one in use with a card of its own.
    PadModel,
}

/// Anything bought, held and used. Products are kept in millilitres, the rest in pieces.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Item {
    /// Name on lists.
    #[schema(max_length = 120)]
    pub name: String,
    /// Product, supply or pad model.
    pub what: ItemKind,
    /// Products: grams per millilitre, from the safety sheet; 1 when not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub density_g_per_ml: Option<Quantity>,
    /// Products: millilitres per dose to start from, before any bottle was weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ml_per_dose: Option<Quantity>,
    /// Pad models: working diameter (cm).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub diameter_cm: Option<Quantity>,
    /// Pad models: sections one pad is expected to last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 100_000)]
    pub expected_cycles: Option<u32>,
    /// Pad models: sections after which it should be washed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000)]
    pub wash_after_cycles: Option<u32>,
    /// Pad models: what a worn pad still fetches.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub salvage_amount: Option<Amount>,
}

/// How a container gives its product.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Dose {
    /// Drops.
    Drop,
    /// Strokes of a spray head.
    Shot,
    /// Centimetres of a bead.
    BeadCm,
}

/// One bottle, jug or spray bottle, by its own tag.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Container {
    /// Its tag.
    #[schema(max_length = 120)]
    pub label: String,
    /// The product in it.
    pub item_id: Uuid,
    /// Where it is.
    pub place_id: Uuid,
    /// What it holds when full (ml).
    pub nominal_ml: Quantity,
    /// Its own mass, empty and with its cap (g).
    pub tare_g: Quantity,
    /// Standard deviation of that mass (g); 0.5 g when not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tare_sd_g: Option<Quantity>,
    /// How it gives its product.
    pub dose: Dose,
}

/// One pad, by its own tag.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Pad {
    /// Its tag.
    #[schema(max_length = 120)]
    pub label: String,
    /// Its model.
    pub item_id: Uuid,
    /// Where it is.
    pub place_id: Uuid,
}

/// One polisher.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Machine {
    /// Its tag.
    #[schema(max_length = 120)]
    pub label: String,
    /// Where it is.
    pub place_id: Uuid,
    /// What an hour of its work costs: (price − salvage) / hours of life.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hourly_cost_amount: Option<Amount>,
}

/// One part of a vehicle that is worked at a time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Section {
    /// Its name, unique in the class: `hood_left`.
    #[schema(max_length = 60)]
    pub name: String,
    /// Its painted area (m²).
    pub area_m2: Quantity,
}

/// A size of vehicle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VehicleClass {
    /// Name on lists.
    #[schema(max_length = 120)]
    pub name: String,
    /// Its sections in the order they are worked.
    #[schema(min_items = 1, max_items = 100)]
    pub sections: Vec<Section>,
}

/// What a stage is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StageKind {
    /// Washing, decontamination, masking.
    Preparation,
    /// Taking defects out.
    Cutting,
    /// Refining.
    Polishing,
    /// The last gloss.
    Finishing,
    /// Sealing.
    Protection,
}

impl StageKind {
    /// From the word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        let all = [Self::Preparation, Self::Cutting, Self::Polishing, Self::Finishing, Self::Protection];
        all.into_iter().find(|stage| stage.word() == word)
    }

    /// The word in JSON.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Preparation => "preparation",
            Self::Cutting => "cutting",
            Self::Polishing => "polishing",
            Self::Finishing => "finishing",
            Self::Protection => "protection",
        }
    }
}

/// One step of a recipe.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Stage {
    /// What it is for.
    pub what: StageKind,
    /// The product, if any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub item_id: Option<Uuid>,
    /// The pad model, if any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pad_item_id: Option<Uuid>,
    /// Product put down per square metre (ml).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ml_per_m2: Option<Quantity>,
    /// Time per square metre (min).
    pub min_per_m2: Quantity,
    /// Passes over each section.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 50)]
    pub passes: Option<u32>,
    /// Speed step of the machine.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 10)]
    pub speed_step: Option<u32>,
}

/// The ordered stages for a result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Recipe {
    /// Name on lists.
    #[schema(max_length = 120)]
    pub name: String,
    /// First to last.
    #[schema(min_items = 1, max_items = 30)]
    pub stages: Vec<Stage>,
}

/// A customer. Seen only by the office and by the crew of one of their jobs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Client {
    /// Their name.
    #[schema(max_length = 120)]
    pub name: String,
    /// How to reach them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 200)]
    pub contact: Option<String>,
    /// Where the vehicle stands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 300)]
    pub address: Option<String>,
}

/// A customer's vehicle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Vehicle {
    /// Whose it is.
    pub client_id: Uuid,
    /// Its size.
    pub vehicle_class_id: Uuid,
    /// Make, colour, whatever tells it apart.
    #[schema(max_length = 120)]
    pub description: String,
    /// Registration plate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 20)]
    pub plate: Option<String>,
}

/// Something that is sold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Service {
    /// Name on papers.
    #[schema(max_length = 120)]
    pub name: String,
    /// How it is done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recipe_id: Option<Uuid>,
    /// What it costs the client.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price_amount: Option<Amount>,
}

/// How far one section of a job is in one stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SectionState {
    /// Not begun.
    ToDo,
    /// Being worked.
    UnderWay,
    /// Worked.
    Done,
    /// To be worked once more.
    Redo,
}

/// A booked piece of work. Its revenue is its services' prices less the discount.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Job {
    /// The van that does it.
    pub place_id: Uuid,
    /// For whom.
    pub client_id: Uuid,
    /// On which vehicle.
    pub vehicle_id: Uuid,
    /// Who does it.
    #[schema(max_items = 20)]
    pub crew: Vec<MemberId>,
    /// Booked from.
    pub starts_at: DateTime<Utc>,
    /// Booked to.
    pub ends_at: DateTime<Utc>,
    /// What was sold.
    #[schema(max_items = 30)]
    pub service_ids: Vec<Uuid>,
    /// The price agreed for all of it; the services' list prices when not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price_amount: Option<Amount>,
    /// Taken off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub discount_amount: Option<Amount>,
    /// Where it stands.
    pub state: JobState,
    /// What the crew should know.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// How far each section is, by `section/stage`: `{"hood_left/polishing": "done"}`. Each of them is
    /// a field of its own when two phones write at once.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub sections: BTreeMap<String, SectionState>,
}

/// One reference from a card to another: where in the body, to whom, and what that must be.
#[derive(Debug, Clone, PartialEq)]
pub struct Link {
    /// JSON pointer inside the body.
    pub pointer: String,
    /// The other card.
    pub target_id: Uuid,
    /// What it must be.
    pub kind: Kind,
}

impl Kind {
    /// The word in tables, paths and the trail.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Fleet => "fleet",
            Self::Place => "place",
            Self::Item => "item",
            Self::Container => "container",
            Self::Pad => "pad",
            Self::Machine => "machine",
            Self::VehicleClass => "vehicle_class",
            Self::Recipe => "recipe",
            Self::Client => "client",
            Self::Vehicle => "vehicle",
            Self::Service => "service",
            Self::Job => "job",
        }
    }

    /// From the word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// Every kind.
    pub const ALL: [Self; 12] = [
        Self::Fleet,
        Self::Place,
        Self::Item,
        Self::Container,
        Self::Pad,
        Self::Machine,
        Self::VehicleClass,
        Self::Recipe,
        Self::Client,
        Self::Vehicle,
        Self::Service,
        Self::Job,
    ];

    /// Top-level fields that hold money and never leave for a technician.
    #[must_use]
    pub const fn money(self) -> &'static [&'static str] {
        match self {
            Self::Fleet => &["travel_cost_per_km_amount"],
            Self::Item => &["salvage_amount"],
            Self::Machine => &["hourly_cost_amount"],
            Self::Service => &["price_amount"],
            Self::Job => &["price_amount", "discount_amount"],
            Self::Place
            | Self::Container
            | Self::Pad
            | Self::VehicleClass
            | Self::Recipe
            | Self::Client
            | Self::Vehicle => &[],
        }
    }
}

impl Card {
    /// The job, if it is one.
    #[must_use]
    pub const fn job(&self) -> Option<&Job> {
        if let Self::Job(job) = self { Some(job) } else { None }
    }

    /// What it is about.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Fleet(_) => Kind::Fleet,
            Self::Place(_) => Kind::Place,
            Self::Item(_) => Kind::Item,
            Self::Container(_) => Kind::Container,
            Self::Pad(_) => Kind::Pad,
            Self::Machine(_) => Kind::Machine,
            Self::VehicleClass(_) => Kind::VehicleClass,
            Self::Recipe(_) => Kind::Recipe,
            Self::Client(_) => Kind::Client,
            Self::Vehicle(_) => Kind::Vehicle,
            Self::Service(_) => Kind::Service,
            Self::Job(_) => Kind::Job,
        }
    }

    /// Which other cards it names.
    #[must_use]
    pub fn links(&self) -> Vec<Link> {
        let link = |pointer: &str, target_id, kind| Link { pointer: pointer.to_owned(), target_id, kind };
        match self {
            Self::Fleet(_) | Self::Place(_) | Self::Item(_) | Self::VehicleClass(_) | Self::Client(_) => {
                vec![]
            }
            Self::Container(c) => {
                vec![link("/item_id", c.item_id, Kind::Item), link("/place_id", c.place_id, Kind::Place)]
            }
            Self::Pad(p) => {
                vec![link("/item_id", p.item_id, Kind::Item), link("/place_id", p.place_id, Kind::Place)]
            }
            Self::Machine(m) => vec![link("/place_id", m.place_id, Kind::Place)],
            Self::Recipe(r) => {
                let mut links = Vec::new();
                for (i, stage) in r.stages.iter().enumerate() {
                    links.extend(
                        stage.item_id.map(|id| link(&format!("/stages/{i}/item_id"), id, Kind::Item)),
                    );
                    links.extend(
                        stage.pad_item_id.map(|id| link(&format!("/stages/{i}/pad_item_id"), id, Kind::Item)),
                    );
                }
                links
            }
            Self::Vehicle(v) => vec![
                link("/client_id", v.client_id, Kind::Client),
                link("/vehicle_class_id", v.vehicle_class_id, Kind::VehicleClass),
            ],
            Self::Service(s) => {
                s.recipe_id.map(|id| link("/recipe_id", id, Kind::Recipe)).into_iter().collect()
            }
            Self::Job(j) => {
                let mut links = vec![
                    link("/place_id", j.place_id, Kind::Place),
                    link("/client_id", j.client_id, Kind::Client),
                    link("/vehicle_id", j.vehicle_id, Kind::Vehicle),
                ];
                for (i, id) in j.service_ids.iter().enumerate() {
                    links.push(link(&format!("/service_ids/{i}"), *id, Kind::Service));
                }
                links
            }
        }
    }
}
