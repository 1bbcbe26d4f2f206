//! The fleet as it is set up: whose ids stand for what, beside the plans they were made from.

use super::people::{FLEET_HANDLE, password};
use super::truth::TruePad;
use super::wares::{PadWare, ProductWare, SupplyWare};
use crate::auth::Who;
use crate::error::Error;
use crate::flows::cards::kinds::StageKind;
use crate::ids::MemberId;
use crate::values::Quantity;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A product with its true dose, which no card knows.
#[derive(Debug, Clone)]
pub(super) struct Product {
    pub(super) id: Uuid,
    pub(super) ware: ProductWare,
    pub(super) true_ml_per_dose: f64,
}

/// A step of a recipe with ids in it.
#[derive(Debug, Clone)]
pub(super) struct Step {
    pub(super) what: StageKind,
    pub(super) product: Uuid,
    pub(super) pad_model: Option<Uuid>,
    pub(super) ml_per_m2: f64,
    pub(super) min_per_m2: f64,
}

/// A recipe and its service.
#[derive(Debug, Clone)]
pub(super) struct Recipe {
    pub(super) service: Uuid,
    pub(super) price_amount: f64,
    pub(super) share: f64,
    pub(super) long: bool,
    pub(super) steps: Vec<Step>,
}

/// A vehicle class.
#[derive(Debug, Clone)]
pub(super) struct Class {
    pub(super) id: Uuid,
    pub(super) price_factor: f64,
    pub(super) sections: Vec<(String, f64)>,
}

/// Pads of one technician, by model.
pub(super) type Pads = BTreeMap<Uuid, Vec<TruePad>>;

/// The whole fleet.
#[derive(Debug)]
pub(super) struct Fleet {
    pub(super) office: Who,
    pub(super) depot: Uuid,
    pub(super) products: BTreeMap<Uuid, Product>,
    pub(super) supplies: BTreeMap<Uuid, SupplyWare>,
    pub(super) pad_models: BTreeMap<Uuid, PadWare>,
    pub(super) spot_pad: Uuid,
    pub(super) recipes: Vec<Recipe>,
    pub(super) classes: Vec<Class>,
    /// Where each van's card is, and who works in it.
    pub(super) crews: Vec<(Uuid, Vec<MemberId>)>,
}

/// How to sign in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignIn {
    /// The fleet's handle.
    pub fleet: &'static str,
    /// The member's handle.
    pub member: String,
    /// The password, fit for a demo only.
    pub password: String,
    /// What they may do.
    pub role: &'static str,
}

impl SignIn {
    pub(super) fn new(handle: &str, role: &'static str) -> Self {
        Self { fleet: FLEET_HANDLE, member: handle.to_owned(), password: password(handle), role }
    }
}

impl Fleet {
    pub(super) fn supply(&self, key: &str) -> Option<Uuid> {
        self.supplies.iter().find(|(_, ware)| ware.key == key).map(|(id, _)| *id)
    }
}

/// A number as it is written on a card or in an entry: to four decimals.
pub(super) fn quantity(value: f64) -> Result<Quantity, Error> {
    Quantity::try_new(decimal(value, 4)).map_err(Error::internal)
}

/// A number in decimals, to so many places.
pub(super) fn decimal(value: f64, places: u32) -> Decimal {
    let whole = value * 10_f64.powi(i32::try_from(places).unwrap_or(0));
    Decimal::new(whole.round().to_i64().unwrap_or(0), places).normalize()
}
