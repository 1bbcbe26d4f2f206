//! The books on the desk: the state a batch of entries needs, and the lines they make. Pure.
//!
//! Booking an entry and rebuilding the books from it run the same functions here (invariant I7).

use super::table::Table;
use crate::store::books::{ContainerLevel, CostLine, Lines, PadLine, PadState, StockLine, StockValue};
use chrono::{Datelike, NaiveDate};
use dropwise_core::CoreError;
use dropwise_core::exact::rounding::{Ties, round};
use dropwise_core::exact::stock_average::AverageStock;
use dropwise_core::exact::stock_lot::{Lot, Movement, VALUE_PLACES};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// Which entry is being booked, and on which day.
#[derive(Debug, Clone, Copy)]
pub(super) struct At {
    pub(super) entry_id: Uuid,
    pub(super) day: NaiveDate,
}

/// The estimate of a container as it stood before an entry: entry, container, level (none: not open).
pub(super) type Mark = (Uuid, Uuid, Option<ContainerLevel>);

/// State and lines of a batch.
#[derive(Debug, Default)]
pub(super) struct Books {
    pub(super) levels: Table<(Uuid, Uuid), Decimal>,
    pub(super) values: Table<Uuid, StockValue>,
    pub(super) containers: Table<Uuid, ContainerLevel>,
    pub(super) pads: Table<Uuid, PadState>,
    /// Lines and marks of earlier entries that this batch reverses.
    pub(super) earlier: HashMap<Uuid, Lines>,
    pub(super) earlier_marks: HashMap<Uuid, Option<ContainerLevel>>,
    pub(super) lines: Lines,
    pub(super) marks: Vec<Mark>,
    pub(super) kept: (usize, usize, usize, usize),
}

/// What a stock movement is for.
#[derive(Debug, Clone, Copy)]
pub(super) struct StockFor<'a> {
    pub(super) what: &'a str,
    pub(super) item_id: Uuid,
    pub(super) place_id: Uuid,
    pub(super) job_id: Option<Uuid>,
}

/// What a cost is for.
#[derive(Debug, Clone, Copy)]
pub(super) struct CostFor<'a> {
    pub(super) what: &'a str,
    pub(super) job_id: Option<Uuid>,
    pub(super) subject_id: Option<Uuid>,
    pub(super) unit: &'a str,
}

impl Books {
    /// The entry at hand is booked.
    pub(super) fn keep(&mut self) {
        self.levels.keep();
        self.values.keep();
        self.containers.keep();
        self.pads.keep();
        self.kept = (self.lines.stock.len(), self.lines.costs.len(), self.lines.pads.len(), self.marks.len());
    }

    /// The entry at hand does not fit: books as before it.
    pub(super) fn undo(&mut self) {
        self.levels.undo();
        self.values.undo();
        self.containers.undo();
        self.pads.undo();
        let (stock, costs, pads, marks) = self.kept;
        self.lines.stock.truncate(stock);
        self.lines.costs.truncate(costs);
        self.lines.pads.truncate(pads);
        self.marks.truncate(marks);
    }

    /// The value account of an item.
    pub(super) fn account(&self, item: Uuid) -> AverageStock {
        let value = self.values.get(&item).copied().unwrap_or_default();
        AverageStock {
            on_hand: Lot { quantity: value.quantity, value: value.amount },
            last_unit_cost: value.last_unit_amount,
        }
    }

    /// Writes a movement down: level, value, and a line; a price true-up gets lines of its own.
    ///
    /// Answers the change in value by the event itself (negative for what was used).
    pub(super) fn stock(
        &mut self,
        at: At,
        of: StockFor<'_>,
        (account, moved): (AverageStock, Movement),
    ) -> Result<Decimal, CoreError> {
        self.save_account(of.item_id, account)?;
        self.add_level(of.item_id, of.place_id, moved.quantity)?;
        self.stock_line(at, of, moved.quantity, moved.value)?;
        if !moved.true_up.is_zero() {
            let line = StockFor { what: "price_true_up", job_id: None, ..of };
            self.stock_line(at, line, Decimal::ZERO, moved.true_up)?;
            let cost =
                CostFor { what: "price_true_up", job_id: None, subject_id: Some(of.item_id), unit: "" };
            self.cost(at, cost, Decimal::ZERO, -moved.true_up)?;
        }
        Ok(moved.value)
    }

    /// Writes an item's account down, its remembered unit cost to the places the books keep.
    pub(super) fn save_account(&mut self, item: Uuid, account: AverageStock) -> Result<(), CoreError> {
        let last =
            account.last_unit_cost.map(|cost| round(cost, VALUE_PLACES, Ties::HalfEven)).transpose()?;
        let value = StockValue {
            quantity: account.on_hand.quantity,
            amount: account.on_hand.value,
            last_unit_amount: last,
        };
        self.values.set(item, value);
        Ok(())
    }

    pub(super) fn add_level(&mut self, item: Uuid, place: Uuid, change: Decimal) -> Result<(), CoreError> {
        let level = self.levels.get(&(item, place)).copied().unwrap_or_default();
        let level = level.checked_add(change).ok_or(CoreError::OutOfRange { what: "a stock level" })?;
        self.levels.set((item, place), level);
        Ok(())
    }

    pub(super) fn stock_line(
        &mut self,
        at: At,
        of: StockFor<'_>,
        quantity: Decimal,
        amount: Decimal,
    ) -> Result<(), CoreError> {
        let line = StockLine {
            entry_id: at.entry_id,
            line: next_line(self.lines.stock.last().map(|l| (l.entry_id, l.line)), at.entry_id)?,
            item_id: of.item_id,
            place_id: of.place_id,
            what: of.what.to_owned(),
            quantity,
            amount,
            job_id: of.job_id,
            booked_on: at.day,
        };
        self.lines.stock.push(line);
        Ok(())
    }

    /// A cost, to twelve decimals.
    pub(super) fn cost(
        &mut self,
        at: At,
        of: CostFor<'_>,
        quantity: Decimal,
        amount: Decimal,
    ) -> Result<(), CoreError> {
        let line = CostLine {
            entry_id: at.entry_id,
            line: next_line(self.lines.costs.last().map(|l| (l.entry_id, l.line)), at.entry_id)?,
            job_id: of.job_id,
            what: of.what.to_owned(),
            subject_id: of.subject_id,
            quantity,
            unit: of.unit.to_owned(),
            amount: round(amount, VALUE_PLACES, Ties::HalfEven)?,
            booked_on: at.day,
        };
        self.lines.costs.push(line);
        Ok(())
    }

    /// A line of the pad ledger; the state is the caller's to write.
    pub(super) fn pad_line(&mut self, at: At, mut line: PadLine) -> Result<(), CoreError> {
        line.entry_id = at.entry_id;
        line.line = next_line(self.lines.pads.last().map(|l| (l.entry_id, l.line)), at.entry_id)?;
        self.lines.pads.push(line);
        Ok(())
    }

    /// The month figures these lines add up to.
    pub(super) fn figures(lines: &Lines) -> BTreeMap<(NaiveDate, Uuid, String), (Decimal, Decimal)> {
        let mut sums: BTreeMap<(NaiveDate, Uuid, String), (Decimal, Decimal)> = BTreeMap::new();
        for line in &lines.costs {
            let key = (month_of(line.booked_on), line.job_id.unwrap_or(Uuid::nil()), line.what.clone());
            let sum = sums.entry(key).or_default();
            sum.0 = sum.0.saturating_add(line.quantity);
            sum.1 = sum.1.saturating_add(line.amount);
        }
        sums
    }

    /// What was used up per day. A true-up counts as use of the day it was found on.
    pub(super) fn use_days(lines: &Lines) -> BTreeMap<(Uuid, Uuid, NaiveDate), Decimal> {
        let mut sums: BTreeMap<(Uuid, Uuid, NaiveDate), Decimal> = BTreeMap::new();
        for line in lines.stock.iter().filter(|l| matches!(l.what.as_str(), "use" | "true_up" | "retired")) {
            let sum = sums.entry((line.item_id, line.place_id, line.booked_on)).or_default();
            *sum = sum.saturating_sub(line.quantity);
        }
        sums
    }
}

/// The first day of a day's month.
pub(super) fn month_of(day: NaiveDate) -> NaiveDate {
    day.with_day(1).unwrap_or(day)
}

fn next_line(last: Option<(Uuid, i32)>, entry: Uuid) -> Result<i32, CoreError> {
    match last {
        Some((of, line)) if of == entry => {
            line.checked_add(1).ok_or(CoreError::OutOfRange { what: "line number" })
        }
        _ => Ok(1),
    }
}
