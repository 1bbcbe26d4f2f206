//! Lines of the books, each naming the entry that caused it; and the month figures summed from them.

use crate::error::Error;
use crate::store::Tx;
use crate::store::schema::{cost_lines, pad_lines, stock_lines};
use chrono::NaiveDate;
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

/// Stock that came, went or was corrected.
#[derive(Debug, Clone, PartialEq, Queryable, Selectable)]
#[diesel(table_name = stock_lines)]
pub struct StockLine {
    /// The entry behind it.
    pub entry_id: Uuid,
    /// Its number within the entry.
    pub line: i32,
    /// Of what.
    pub item_id: Uuid,
    /// Where.
    pub place_id: Uuid,
    /// Why: `receipt`, `use`, `move`, `count`, `true_up`, `retired`, `price_true_up`.
    pub what: String,
    /// Change, signed, in the item's stock unit.
    pub quantity: Decimal,
    /// Change in value, signed.
    pub amount: Decimal,
    /// The job it went to.
    pub job_id: Option<Uuid>,
    /// The day it belongs to, in the fleet's zone.
    pub booked_on: NaiveDate,
}

/// A cost of a job, or one that no job explains.
#[derive(Debug, Clone, PartialEq, Queryable, Selectable)]
#[diesel(table_name = cost_lines)]
pub struct CostLine {
    /// The entry behind it.
    pub entry_id: Uuid,
    /// Its number within the entry.
    pub line: i32,
    /// The job that bears it.
    pub job_id: Option<Uuid>,
    /// What it is: `labour`, `product`, `supply`, `pad`, `machine`, `travel`, `true_up` …
    pub what: String,
    /// Item, pad, machine, member or van.
    pub subject_id: Option<Uuid>,
    /// How much.
    pub quantity: Decimal,
    /// In which unit.
    pub unit: String,
    /// Cost, positive; negative for a reversal or a gain.
    pub amount: Decimal,
    /// The day it belongs to.
    pub booked_on: NaiveDate,
}

/// What happened to a pad.
#[derive(Debug, Clone, PartialEq, Queryable, Selectable)]
#[diesel(table_name = pad_lines)]
pub struct PadLine {
    /// The entry behind it.
    pub entry_id: Uuid,
    /// Its number within the entry.
    pub line: i32,
    /// Which pad.
    pub pad_id: Uuid,
    /// On which job.
    pub job_id: Option<Uuid>,
    /// Sections worked.
    pub cycles: i32,
    /// Change in the sections worked since it was last washed.
    pub cycles_since_wash: i32,
    /// Washes.
    pub washes: i32,
    /// Change of its load (ml).
    pub load_ml: Decimal,
    /// Area worked (m²).
    pub worked_m2: Decimal,
    /// Part of its worth charged.
    pub amount: Decimal,
}

/// All lines of one or more entries.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Lines {
    /// Stock.
    pub stock: Vec<StockLine>,
    /// Costs.
    pub costs: Vec<CostLine>,
    /// Pads.
    pub pads: Vec<PadLine>,
}

impl Lines {
    /// The same lines, each with those of its own entry; an entry without lines is absent.
    #[must_use]
    pub fn by_entry(self) -> HashMap<Uuid, Self> {
        let mut by: HashMap<Uuid, Self> = HashMap::new();
        for line in self.stock {
            by.entry(line.entry_id).or_default().stock.push(line);
        }
        for line in self.costs {
            by.entry(line.entry_id).or_default().costs.push(line);
        }
        for line in self.pads {
            by.entry(line.entry_id).or_default().pads.push(line);
        }
        by
    }
}

/// Costs summed for one job and month; the nil id stands for no job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct FigureKey<'a> {
    /// First day of the month.
    pub month: NaiveDate,
    /// The job, or nil.
    pub job_id: Uuid,
    /// What kind of cost.
    pub what: &'a str,
}

/// The lines these entries made, in order.
///
/// # Errors
/// Those of the database.
pub async fn lines_of(tx: &mut Tx, entries: &[Uuid]) -> Result<Lines, Error> {
    if entries.is_empty() {
        return Ok(Lines::default());
    }
    let fleet = tx.fleet().0;
    let stock = stock_lines::table
        .filter(stock_lines::fleet_id.eq(fleet))
        .filter(stock_lines::entry_id.eq_any(entries))
        .order((stock_lines::entry_id, stock_lines::line))
        .select(StockLine::as_select())
        .load(tx.conn())
        .await?;
    let costs = cost_lines::table
        .filter(cost_lines::fleet_id.eq(fleet))
        .filter(cost_lines::entry_id.eq_any(entries))
        .order((cost_lines::entry_id, cost_lines::line))
        .select(CostLine::as_select())
        .load(tx.conn())
        .await?;
    let pads = pad_lines::table
        .filter(pad_lines::fleet_id.eq(fleet))
        .filter(pad_lines::entry_id.eq_any(entries))
        .order((pad_lines::entry_id, pad_lines::line))
        .select(PadLine::as_select())
        .load(tx.conn())
        .await?;
    Ok(Lines { stock, costs, pads })
}

statement! {
    /// Appends stock lines.
    struct AppendStock {
        fleet: Uuid,
        entries: Vec<Uuid>,
        lines: Vec<i32>,
        items: Vec<Uuid>,
        places: Vec<Uuid>,
        whats: Vec<String>,
        quantities: Vec<Decimal>,
        amounts: Vec<Decimal>,
        jobs: Vec<Option<Uuid>>,
        days: Vec<NaiveDate>,
    }
    = "insert into stock_lines (fleet_id, entry_id, line, item_id, place_id, what, quantity, amount, job_id, booked_on) \
       select " [fleet: sql::Uuid]
      ", * from unnest(" [entries: sql::Array<sql::Uuid>]
      ", " [lines: sql::Array<sql::Integer>]
      ", " [items: sql::Array<sql::Uuid>]
      ", " [places: sql::Array<sql::Uuid>]
      ", " [whats: sql::Array<sql::Text>]
      ", " [quantities: sql::Array<sql::Numeric>]
      ", " [amounts: sql::Array<sql::Numeric>]
      ", " [jobs: sql::Array<sql::Nullable<sql::Uuid>>]
      ", " [days: sql::Array<sql::Date>]
      ")"
}

statement! {
    /// Appends cost lines.
    struct AppendCosts {
        fleet: Uuid,
        entries: Vec<Uuid>,
        lines: Vec<i32>,
        jobs: Vec<Option<Uuid>>,
        whats: Vec<String>,
        subjects: Vec<Option<Uuid>>,
        quantities: Vec<Decimal>,
        units: Vec<String>,
        amounts: Vec<Decimal>,
        days: Vec<NaiveDate>,
    }
    = "insert into cost_lines (fleet_id, entry_id, line, job_id, what, subject_id, quantity, unit, amount, booked_on) \
       select " [fleet: sql::Uuid]
      ", * from unnest(" [entries: sql::Array<sql::Uuid>]
      ", " [lines: sql::Array<sql::Integer>]
      ", " [jobs: sql::Array<sql::Nullable<sql::Uuid>>]
      ", " [whats: sql::Array<sql::Text>]
      ", " [subjects: sql::Array<sql::Nullable<sql::Uuid>>]
      ", " [quantities: sql::Array<sql::Numeric>]
      ", " [units: sql::Array<sql::Text>]
      ", " [amounts: sql::Array<sql::Numeric>]
      ", " [days: sql::Array<sql::Date>]
      ")"
}

statement! {
    /// Appends pad lines.
    struct AppendPads {
        fleet: Uuid,
        entries: Vec<Uuid>,
        lines: Vec<i32>,
        pads: Vec<Uuid>,
        jobs: Vec<Option<Uuid>>,
        cycles: Vec<i32>,
        since_wash: Vec<i32>,
        washes: Vec<i32>,
        loads: Vec<Decimal>,
        areas: Vec<Decimal>,
        amounts: Vec<Decimal>,
    }
    = "insert into pad_lines (fleet_id, entry_id, line, pad_id, job_id, cycles, cycles_since_wash, washes, \
       load_ml, worked_m2, amount) \
       select " [fleet: sql::Uuid]
      ", * from unnest(" [entries: sql::Array<sql::Uuid>]
      ", " [lines: sql::Array<sql::Integer>]
      ", " [pads: sql::Array<sql::Uuid>]
      ", " [jobs: sql::Array<sql::Nullable<sql::Uuid>>]
      ", " [cycles: sql::Array<sql::Integer>]
      ", " [since_wash: sql::Array<sql::Integer>]
      ", " [washes: sql::Array<sql::Integer>]
      ", " [loads: sql::Array<sql::Numeric>]
      ", " [areas: sql::Array<sql::Numeric>]
      ", " [amounts: sql::Array<sql::Numeric>]
      ")"
}

statement! {
    /// Adds to the month figures.
    struct AddFigures {
        fleet: Uuid,
        months: Vec<NaiveDate>,
        jobs: Vec<Uuid>,
        whats: Vec<String>,
        quantities: Vec<Decimal>,
        amounts: Vec<Decimal>,
    }
    = "insert into cost_figures (fleet_id, month, job_id, what, quantity, amount) \
       select " [fleet: sql::Uuid]
      ", * from unnest(" [months: sql::Array<sql::Date>]
      ", " [jobs: sql::Array<sql::Uuid>]
      ", " [whats: sql::Array<sql::Text>]
      ", " [quantities: sql::Array<sql::Numeric>]
      ", " [amounts: sql::Array<sql::Numeric>]
      ") on conflict (fleet_id, month, job_id, what) do update \
       set quantity = cost_figures.quantity + excluded.quantity, amount = cost_figures.amount + excluded.amount"
}

statement! {
    /// Adds to the use per day.
    struct AddUse {
        fleet: Uuid,
        items: Vec<Uuid>,
        places: Vec<Uuid>,
        days: Vec<NaiveDate>,
        quantities: Vec<Decimal>,
    }
    = "insert into use_days (fleet_id, item_id, place_id, used_on, quantity) \
       select " [fleet: sql::Uuid]
      ", * from unnest(" [items: sql::Array<sql::Uuid>]
      ", " [places: sql::Array<sql::Uuid>]
      ", " [days: sql::Array<sql::Date>]
      ", " [quantities: sql::Array<sql::Numeric>]
      ") on conflict (fleet_id, item_id, place_id, used_on) \
       do update set quantity = use_days.quantity + excluded.quantity"
}

/// Writes lines down. Their entries must be there already.
///
/// # Errors
/// Those of the database.
pub async fn append(tx: &mut Tx, lines: &Lines) -> Result<(), Error> {
    let fleet = tx.fleet().0;
    if !lines.stock.is_empty() {
        let of = &lines.stock;
        AppendStock {
            fleet,
            entries: of.iter().map(|l| l.entry_id).collect(),
            lines: of.iter().map(|l| l.line).collect(),
            items: of.iter().map(|l| l.item_id).collect(),
            places: of.iter().map(|l| l.place_id).collect(),
            whats: of.iter().map(|l| l.what.clone()).collect(),
            quantities: of.iter().map(|l| l.quantity).collect(),
            amounts: of.iter().map(|l| l.amount).collect(),
            jobs: of.iter().map(|l| l.job_id).collect(),
            days: of.iter().map(|l| l.booked_on).collect(),
        }
        .execute(tx.conn())
        .await?;
    }
    if !lines.costs.is_empty() {
        let of = &lines.costs;
        AppendCosts {
            fleet,
            entries: of.iter().map(|l| l.entry_id).collect(),
            lines: of.iter().map(|l| l.line).collect(),
            jobs: of.iter().map(|l| l.job_id).collect(),
            whats: of.iter().map(|l| l.what.clone()).collect(),
            subjects: of.iter().map(|l| l.subject_id).collect(),
            quantities: of.iter().map(|l| l.quantity).collect(),
            units: of.iter().map(|l| l.unit.clone()).collect(),
            amounts: of.iter().map(|l| l.amount).collect(),
            days: of.iter().map(|l| l.booked_on).collect(),
        }
        .execute(tx.conn())
        .await?;
    }
    if !lines.pads.is_empty() {
        let of = &lines.pads;
        AppendPads {
            fleet,
            entries: of.iter().map(|l| l.entry_id).collect(),
            lines: of.iter().map(|l| l.line).collect(),
            pads: of.iter().map(|l| l.pad_id).collect(),
            jobs: of.iter().map(|l| l.job_id).collect(),
            cycles: of.iter().map(|l| l.cycles).collect(),
            since_wash: of.iter().map(|l| l.cycles_since_wash).collect(),
            washes: of.iter().map(|l| l.washes).collect(),
            loads: of.iter().map(|l| l.load_ml).collect(),
            areas: of.iter().map(|l| l.worked_m2).collect(),
            amounts: of.iter().map(|l| l.amount).collect(),
        }
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

/// Adds to the month figures.
///
/// # Errors
/// Those of the database.
pub async fn add_figures<'a>(
    tx: &mut Tx,
    figures: impl Iterator<Item = (FigureKey<'a>, Decimal, Decimal)>,
) -> Result<(), Error> {
    let mut add = AddFigures {
        fleet: tx.fleet().0,
        months: vec![],
        jobs: vec![],
        whats: vec![],
        quantities: vec![],
        amounts: vec![],
    };
    for (key, quantity, amount) in figures {
        add.months.push(key.month);
        add.jobs.push(key.job_id);
        add.whats.push(key.what.to_owned());
        add.quantities.push(quantity);
        add.amounts.push(amount);
    }
    if !add.months.is_empty() {
        add.execute(tx.conn()).await?;
    }
    Ok(())
}

/// Adds to the use per day: item, place, day, quantity.
///
/// # Errors
/// Those of the database.
pub async fn add_use(
    tx: &mut Tx,
    used: impl Iterator<Item = (Uuid, Uuid, NaiveDate, Decimal)>,
) -> Result<(), Error> {
    let mut add =
        AddUse { fleet: tx.fleet().0, items: vec![], places: vec![], days: vec![], quantities: vec![] };
    for (item, place, day, quantity) in used {
        add.items.push(item);
        add.places.push(place);
        add.days.push(day);
        add.quantities.push(quantity);
    }
    if !add.items.is_empty() {
        add.execute(tx.conn()).await?;
    }
    Ok(())
}
