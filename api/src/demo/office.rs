//! The office's own work: goods that come in, vans that are loaded, shelves that are counted.

use super::calendar::after;
use super::chance::Chance;
use super::phone::incoming;
use super::plan::{Fleet, decimal};
use super::setup::keep;
use super::tally::Tally;
use super::van::{Van, bottles_ml, whole};
use crate::auth::Proof;
use crate::error::Error;
use crate::flows::cards::retire;
use crate::flows::entries::facts::{Fact, Receipt, StockCount, StockMove};
use crate::flows::entries::{self, Author, Incoming};
use crate::store::Db;
use crate::values::{Amount, Quantity};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Full bottles of each product a van is loaded up to.
const VAN_BOTTLES: u32 = 2;
/// New pads of each model a van is loaded up to.
const VAN_PADS: u32 = 4;
/// What the depot is bought up to, in vans' loads.
const DEPOT_LOADS: u32 = 3;
/// How much dearer everything gets in a year, as a share.
const DEARER_PER_YEAR: f64 = 0.05;

/// What the depot really holds, in the item's own pieces (bottles, pads, pieces).
#[derive(Debug, Default)]
pub(super) struct Depot {
    holds: BTreeMap<Uuid, u32>,
    /// What has been ordered, and when it comes.
    ordered: BTreeMap<Uuid, (NaiveDate, u32)>,
    desk: Vec<Incoming>,
}

/// What a piece of an item is, at the depot's desk.
struct Piece {
    item: Uuid,
    /// How many stock units one piece is.
    unit: Quantity,
    amount: f64,
    /// Pieces a supplier sends at once.
    pack: u32,
    van_holds: u32,
}

fn pieces(fleet: &Fleet) -> Result<Vec<Piece>, Error> {
    let mut all = Vec::new();
    for product in fleet.products.values() {
        let (unit, amount) = (bottles_ml(1, product)?, product.ware.bottle_amount);
        all.push(Piece { item: product.id, unit, amount, pack: 6, van_holds: VAN_BOTTLES });
    }
    for (id, ware) in &fleet.pad_models {
        all.push(Piece { item: *id, unit: whole(1)?, amount: ware.pad_amount, pack: 8, van_holds: VAN_PADS });
    }
    for (id, ware) in &fleet.supplies {
        let amount = ware.pack_amount / f64::from(ware.pack);
        all.push(Piece { item: *id, unit: whole(1)?, amount, pack: ware.pack, van_holds: ware.van_holds });
    }
    Ok(all)
}

fn shelf<'a>(van: &'a mut Van, fleet: &Fleet, item: Uuid) -> &'a mut u32 {
    if fleet.products.contains_key(&item) {
        van.sealed.entry(item).or_default()
    } else if fleet.pad_models.contains_key(&item) {
        van.new_pads.entry(item).or_default()
    } else {
        van.supplies.entry(item).or_default()
    }
}

fn times(unit: Quantity, count: u32) -> Result<Quantity, Error> {
    let all = unit.get().checked_mul(count.into()).ok_or_else(|| Error::internal("too many pieces"))?;
    Quantity::try_new(all).map_err(Error::internal)
}

impl Depot {
    /// Orders that have come, and what should be ordered now. `years` since the start, for prices.
    pub(super) fn receive(
        &mut self,
        fleet: &Fleet,
        chance: &mut Chance,
        (day, now): (NaiveDate, DateTime<Utc>),
        years: f64,
    ) -> Result<(), Error> {
        for piece in pieces(fleet)? {
            if let Some((_, count)) = self.ordered.get(&piece.item).filter(|(due, _)| *due <= day).copied() {
                self.ordered.remove(&piece.item);
                let price = piece.amount * (1.0 + DEARER_PER_YEAR * years) * chance.normal(1.0, 0.02);
                let total = Amount::try_new(decimal(price * f64::from(count), 2)).map_err(Error::internal)?;
                let receipt = Receipt {
                    item_id: piece.item,
                    place_id: fleet.depot,
                    quantity: times(piece.unit, count)?,
                    total_amount: Some(total),
                };
                self.write(chance, &Fact::Receipt(receipt), now)?;
                *self.holds.entry(piece.item).or_default() += count;
            }
            let vans = u32::try_from(fleet.crews.len()).unwrap_or(1);
            let (least, full) = (piece.van_holds * vans, piece.van_holds * vans * DEPOT_LOADS);
            let holds = self.holds.get(&piece.item).copied().unwrap_or(0);
            if holds < least && !self.ordered.contains_key(&piece.item) {
                let packs = (full - holds).div_ceil(piece.pack);
                let due = after(day, chance.whole(2, 7));
                self.ordered.insert(piece.item, (due, packs * piece.pack));
            }
        }
        Ok(())
    }

    /// Everything ordered so far is here at once: how a fleet begins.
    pub(super) fn begin(&mut self, day: NaiveDate) {
        for (due, _) in self.ordered.values_mut() {
            *due = day;
        }
    }

    /// Loads a van up from what the depot has.
    pub(super) fn load(
        &mut self,
        fleet: &Fleet,
        van: &mut Van,
        chance: &mut Chance,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        for piece in pieces(fleet)? {
            let on_shelf = shelf(van, fleet, piece.item);
            let here = self.holds.entry(piece.item).or_default();
            let count = piece.van_holds.saturating_sub(*on_shelf).min(*here);
            // Half empty is when somebody bothers.
            if count == 0 || *on_shelf > piece.van_holds / 2 {
                continue;
            }
            *here -= count;
            *on_shelf += count;
            let fact = StockMove {
                item_id: piece.item,
                from_place_id: fleet.depot,
                to_place_id: van.place,
                quantity: times(piece.unit, count)?,
            };
            self.write(chance, &Fact::StockMove(fact), now)?;
        }
        Ok(())
    }

    /// Counts the depot, and the supplies of one van; now and then something has gone.
    pub(super) fn count(
        &mut self,
        fleet: &Fleet,
        van: &mut Van,
        chance: &mut Chance,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        for piece in pieces(fleet)? {
            let here = self.holds.entry(piece.item).or_default();
            if chance.yes(0.1) {
                *here = here.saturating_sub(1);
            }
            let counted = times(piece.unit, *here)?;
            let fact = StockCount { item_id: piece.item, place_id: fleet.depot, counted };
            self.write(chance, &Fact::StockCount(fact), now)?;
            if fleet.supplies.contains_key(&piece.item) {
                let on_shelf = shelf(van, fleet, piece.item);
                *on_shelf -= (*on_shelf).min(chance.whole(0, 1) * chance.whole(0, 4));
                let counted = whole(*on_shelf)?;
                let fact = StockCount { item_id: piece.item, place_id: van.place, counted };
                self.write(chance, &Fact::StockCount(fact), now)?;
            }
        }
        Ok(())
    }

    fn write(&mut self, chance: &mut Chance, fact: &Fact, now: DateTime<Utc>) -> Result<(), Error> {
        let id = chance.id(now);
        self.desk.push(incoming(id, None, fact, now)?);
        Ok(())
    }

    /// Books what lies on the desk.
    pub(super) async fn book(
        &mut self,
        db: &Db,
        fleet: &Fleet,
        tally: &mut Tally,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        let batch = std::mem::take(&mut self.desk);
        if batch.is_empty() {
            return Ok(());
        }
        let (author, sent) = (Author::from(fleet.office), batch.clone());
        let digests = sent.iter().map(entries::digest).collect::<Result<Vec<_>, _>>()?;
        let taking = async move |tx: &mut _| entries::take(tx, author, None, &sent, &digests, now).await;
        let verdicts = db.write("book_at_the_desk", fleet.office.fleet, taking).await?;
        for (entry, verdict) in batch.iter().zip(&verdicts) {
            tally.count(entry, None, verdict);
        }
        Ok(())
    }
}

/// Cards of today's new bottles and pads, kept before anything is handed over that names them.
pub(super) async fn keep_tags(
    db: &Db,
    fleet: &Fleet,
    van: &mut Van,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    keep(db, fleet.office, std::mem::take(&mut van.cards), now).await
}

/// Takes emptied bottles' cards out of use, once everything about them has been handed over.
pub(super) async fn retire_bottles(
    db: &Db,
    fleet: &Fleet,
    van: &mut Van,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let gone = std::mem::take(&mut van.to_retire);
    if gone.is_empty() {
        return Ok(());
    }
    let office = fleet.office;
    let retiring = async move |tx: &mut _| {
        for id in &gone {
            let office = Proof::of(office).ok_or(Error::NotAllowed)?;
            retire::retire(tx, office, *id, 1, now).await?;
        }
        Ok(())
    };
    db.write("retire_bottles", office.fleet, retiring).await
}
