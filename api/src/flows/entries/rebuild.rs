//! The books worked out afresh from the entries alone, to be laid beside the ones that are kept (I7).
//!
//! Runs the same booking as new entries do, on what the cards said at the time.

use super::books::{At, Books};
use super::judge::{book, reread};
use super::{Basis, Desk, Earlier};
use crate::error::Error;
use crate::store::books::{ContainerLevel, Lines, PadState, StockValue};
use crate::store::entries::EntryRecord;
use chrono::NaiveDate;
use chrono_tz::Tz;
use rust_decimal::Decimal;
use std::collections::{BTreeMap, HashMap, HashSet};
use uuid::Uuid;

/// Books in the making.
#[derive(Debug)]
pub struct Rebuild {
    desk: Desk,
    zone: Tz,
    /// Costs per month, job and kind: quantity and amount.
    pub figures: BTreeMap<(NaiveDate, Uuid, String), (Decimal, Decimal)>,
}

impl Rebuild {
    /// Empty books of a fleet in this zone.
    #[must_use]
    pub fn new(zone: Tz) -> Self {
        let desk = Desk {
            cards: super::cards::Cards::default(),
            books: Books::default(),
            weighed: HashMap::new(),
            earlier: HashMap::new(),
            known: HashMap::new(),
            new: Vec::new(),
            reversed: Vec::new(),
            told: Vec::new(),
            writings: HashMap::new(),
            deleted: HashSet::new(),
            lane: None,
            replaced: None,
            waits: HashMap::new(),
            decided: Vec::new(),
            booked: 0,
        };
        Self { desk, zone, figures: BTreeMap::new() }
    }

    /// Books one entry, which must come after all that were booked before it, and answers its lines.
    ///
    /// # Errors
    /// [`Error::Internal`] when a stored entry cannot be read or booked: it was booked once.
    pub fn replay(&mut self, entry: &EntryRecord) -> Result<Lines, Error> {
        let wrong = |what: &str| Error::internal(format!("entry {}: {what}", entry.entry_id));
        let fact = reread(&entry.kind, entry.form, &entry.body).ok_or_else(|| wrong("cannot be read"))?;
        let basis: Basis =
            serde_json::from_value(entry.basis.clone().unwrap_or_default()).map_err(Error::internal)?;
        let day = entry.happened_at.with_timezone(&self.zone).date_naive();
        let at = At { entry_id: entry.entry_id, day };
        book(&mut self.desk, &fact, &basis, at, entry.happened_at)
            .map_err(|error| wrong(&error.to_string()))?;
        let books = &mut self.desk.books;
        let lines = std::mem::take(&mut books.lines);
        for (of, _, before) in std::mem::take(&mut books.marks) {
            books.earlier_marks.insert(of, before);
        }
        books.keep();
        books.earlier.insert(entry.entry_id, lines.clone());
        for (key, (quantity, amount)) in Books::figures(&lines) {
            let sum = self.figures.entry(key).or_default();
            sum.0 = sum.0.saturating_add(quantity);
            sum.1 = sum.1.saturating_add(amount);
        }
        let note = Earlier { fact, basis, member_id: entry.member_id, reversed: false };
        self.desk.earlier.insert(entry.entry_id, note);
        Ok(lines)
    }

    /// Quantity by item and place.
    #[must_use]
    pub fn levels(&self) -> Vec<((Uuid, Uuid), Decimal)> {
        self.desk.books.levels.all()
    }

    /// Value by item.
    #[must_use]
    pub fn values(&self) -> Vec<(Uuid, StockValue)> {
        self.desk.books.values.all()
    }

    /// Estimate by container.
    #[must_use]
    pub fn containers(&self) -> Vec<(Uuid, ContainerLevel)> {
        self.desk.books.containers.all()
    }

    /// State by pad.
    #[must_use]
    pub fn pads(&self) -> Vec<(Uuid, PadState)> {
        self.desk.books.pads.all()
    }
}
