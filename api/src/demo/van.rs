//! A van as it really is: what stands open in it, what is left on its shelf, whose pads are in it.

use super::chance::Chance;
use super::phone::Phone;
use super::plan::{Pads, Product, quantity};
use super::truth::{TrueBottle, TruePad};
use super::wares::PadWare;
use crate::error::Error;
use crate::flows::cards::kinds::{Card, Container, Pad};
use crate::flows::entries::facts::{ContainerOpen, Fact, WeighIn};
use crate::values::Quantity;
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Pads of one model that a technician has in use at once.
const PADS_IN_USE: usize = 3;

/// A van.
#[derive(Debug)]
pub(super) struct Van {
    pub(super) place: Uuid,
    pub(super) machine: Uuid,
    pub(super) phones: Vec<Phone>,
    /// Pads of each phone's owner.
    pub(super) pads: Vec<Pads>,
    /// The open bottle of each product.
    pub(super) open: BTreeMap<Uuid, TrueBottle>,
    /// Full bottles on the shelf, by product.
    pub(super) sealed: BTreeMap<Uuid, u32>,
    /// New pads on the shelf, by model.
    pub(super) new_pads: BTreeMap<Uuid, u32>,
    /// Pieces on the shelf, by supply.
    pub(super) supplies: BTreeMap<Uuid, u32>,
    /// Cards of bottles and pads that got their tags today.
    pub(super) cards: Vec<(Uuid, Card)>,
    /// Bottles that are empty and gone.
    pub(super) emptied: Vec<TrueBottle>,
    /// Emptied bottles whose cards are still in use.
    pub(super) to_retire: Vec<Uuid>,
    /// Entries found wrong only later, with the phone that wrote them.
    pub(super) to_reverse: Vec<(usize, Uuid)>,
    /// Sections that went without a product because the van had none.
    pub(super) ran_dry: u32,
    tags: u32,
    letter: char,
}

impl Van {
    pub(super) fn new(place: Uuid, machine: Uuid, phones: Vec<Phone>, letter: char) -> Self {
        let pads = phones.iter().map(|_| Pads::new()).collect();
        Self {
            place,
            machine,
            phones,
            pads,
            open: BTreeMap::new(),
            sealed: BTreeMap::new(),
            new_pads: BTreeMap::new(),
            supplies: BTreeMap::new(),
            cards: Vec::new(),
            emptied: Vec::new(),
            to_retire: Vec::new(),
            to_reverse: Vec::new(),
            ran_dry: 0,
            tags: 0,
            letter,
        }
    }

    /// Whether every phone of the van has handed over all it knows.
    pub(super) fn is_known(&self) -> bool {
        self.phones.iter().all(Phone::has_sent_all)
    }

    /// A bottle of the product with something in it, opened if need be; none when the shelf is bare.
    pub(super) fn bottle(
        &mut self,
        chance: &mut Chance,
        product: &Product,
        at: DateTime<Utc>,
    ) -> Result<bool, Error> {
        if self.open.contains_key(&product.id) {
            return Ok(true);
        }
        let Some(left) = self.sealed.get_mut(&product.id).filter(|left| **left > 0) else {
            return Ok(false);
        };
        *left -= 1;
        let id = chance.id(at);
        let bottle = TrueBottle::new(chance, id, &product.ware, product.true_ml_per_dose);
        let card = Container {
            label: self.tag("B"),
            item_id: product.id,
            place_id: self.place,
            nominal_ml: whole(product.ware.nominal_ml)?,
            tare_g: whole(product.ware.tare_g)?,
            tare_sd_g: None,
            dose: product.ware.dose,
        };
        self.cards.push((id, Card::Container(card)));
        self.open.insert(product.id, bottle);
        let fact = Fact::ContainerOpen(ContainerOpen { container_id: id, remaining_ml: None });
        self.say(chance, &fact, at)?;
        Ok(true)
    }

    /// Puts an emptied bottle away, on the scale first if somebody thinks of it.
    pub(super) fn put_away(
        &mut self,
        chance: &mut Chance,
        bottle: TrueBottle,
        at: DateTime<Utc>,
    ) -> Result<(), Error> {
        if chance.yes(0.6) {
            let gross_g = whole(bottle.gross_g(chance))?;
            self.say(chance, &Fact::WeighIn(WeighIn { container_id: bottle.id, gross_g }), at)?;
        }
        self.to_retire.push(bottle.id);
        self.emptied.push(bottle);
        Ok(())
    }

    /// A pad of the model that may take one more section, with its place in the owner's pile.
    pub(super) fn pad(
        &mut self,
        chance: &mut Chance,
        model: Uuid,
        ware: &PadWare,
        mine: usize,
        at: DateTime<Utc>,
    ) -> Option<usize> {
        let pile = self.pads.get_mut(mine).map(|pads| pads.entry(model).or_default())?;
        let freshest = (0..pile.len()).min_by_key(|i| pile.get(*i).map_or(0, |pad| pad.since_wash));
        let clean =
            freshest.filter(|i| pile.get(*i).is_some_and(|pad| pad.since_wash < ware.wash_after_cycles));
        if clean.is_some() || pile.len() >= PADS_IN_USE {
            return clean.or(freshest);
        }
        let Some(left) = self.new_pads.get_mut(&model).filter(|left| **left > 0) else {
            return freshest;
        };
        *left -= 1;
        let id = chance.id(at);
        pile.push(TruePad::new(chance, id, ware));
        let place = pile.len() - 1;
        let card = Pad { label: self.tag("P"), item_id: model, place_id: self.place };
        self.cards.push((id, Card::Pad(card)));
        Some(place)
    }

    /// Writes down what all of the van must know of: on its first phone, which hands over first.
    pub(super) fn say(&mut self, chance: &mut Chance, fact: &Fact, at: DateTime<Utc>) -> Result<(), Error> {
        self.note(chance, 0, fact, at).map(|_| ())
    }

    /// Writes down on one phone.
    pub(super) fn note(
        &mut self,
        chance: &mut Chance,
        phone: usize,
        fact: &Fact,
        at: DateTime<Utc>,
    ) -> Result<Uuid, Error> {
        let phone = self.phones.get_mut(phone).ok_or_else(|| Error::internal("a van without that phone"))?;
        phone.note(chance, fact, at, None)
    }

    fn tag(&mut self, what: &str) -> String {
        self.tags += 1;
        format!("{what}-{}{:04}", self.letter, self.tags)
    }
}

/// A whole number as a quantity.
pub(super) fn whole(value: u32) -> Result<Quantity, Error> {
    Quantity::try_new(Decimal::from(value)).map_err(Error::internal)
}

/// Whole millilitres of so many bottles.
pub(super) fn bottles_ml(count: u32, product: &Product) -> Result<Quantity, Error> {
    quantity(f64::from(count) * f64::from(product.ware.nominal_ml))
}
