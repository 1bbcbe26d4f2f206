//! Stock costing over a list of events, first in first out or at the moving average.

use super::{DecimalText, Map, Refusal, Value, json, read, text, with_steps};
use crate::CoreError;
use crate::exact::stock_average::AverageStock;
use crate::exact::stock_fifo::{FifoStock, Issue};
use crate::exact::stock_lot::{Lot, Movement, Shortfall, VALUE_PLACES};
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;
use serde::Deserialize;
use std::collections::HashMap;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    events: Vec<Event>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Event {
    seq: i64,
    #[serde(rename = "type")]
    kind: Kind,
    quantity: DecimalText,
    receipt_id: Option<String>,
    issue_id: Option<String>,
    unit_cost: Option<DecimalText>,
}

#[derive(Deserialize, Clone, Copy, PartialEq, Eq)]
#[serde(rename_all = "snake_case")]
enum Kind {
    Receipt,
    Issue,
    WriteOff,
    ReturnFromJob,
    ReturnToSupplier,
}

/// A costing method under these events: what each one moves, and what is on hand.
trait Account {
    fn post(&mut self, event: &Event) -> Result<Movement, Refusal>;
    fn on_hand(&self) -> Lot;
}

pub(super) fn fifo(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let mut account = Fifo::default();
    let (mut result, balances) = replay(inputs, &mut account)?;
    let layers = account.stock.layers().map(|(key, lot)| {
        json!({
            "receipt_id": account.receipt_ids.get(*key),
            "quantity": text(lot.quantity.normalize()),
            "unit_cost": lot.unit_cost().map(text),
        })
    });
    result.insert("closing_layers".to_owned(), layers.collect());
    Ok(with_steps(Value::Object(result), steps, &balances.steps()))
}

pub(super) fn moving_average(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let mut account = Average::default();
    let (mut result, balances) = replay(inputs, &mut account)?;
    let averages =
        balances.0.iter().map(|(seq, lot)| json!({ "seq": seq, "unit_cost": lot.unit_cost().map(text) }));
    result.insert("average_unit_cost_after_event".to_owned(), averages.collect());
    Ok(with_steps(Value::Object(result), steps, &balances.steps()))
}

/// What was on hand after each event.
struct Balances(Vec<(i64, Lot)>);

impl Balances {
    fn steps(&self) -> Vec<(String, Value)> {
        let step = |(seq, lot): &(i64, Lot)| {
            let after = |what: &str| format!("{what} on hand after event {seq}");
            [(after("quantity"), text(lot.quantity)), (after("value"), text(lot.value))]
        };
        self.0.iter().flat_map(step).collect()
    }
}

fn replay(inputs: &Value, account: &mut impl Account) -> Result<(Map<String, Value>, Balances), Refusal> {
    let asked: Inputs = read(inputs)?;
    let (mut costs, mut balances) = (Vec::new(), Vec::new());
    let (mut used, mut written_off, mut sent_back) = (Ratio::zero(), Ratio::zero(), Ratio::zero());
    for (position, event) in asked.events.iter().enumerate() {
        let before = account.on_hand();
        let moved = account.post(event).map_err(|mut refusal| {
            refusal.details.insert("at_seq".to_owned(), event.seq.into());
            refusal.details.insert("closing_quantity".to_owned(), text(before.quantity.normalize()));
            refusal.details.insert("closing_value".to_owned(), text(before.value));
            refusal.at(format!("/events/{position}"))
        })?;
        // Signed so that the sums satisfy: purchases = used + written off + sent back + on hand.
        let out = Ratio::from(-moved.value);
        match event.kind {
            Kind::Receipt => {}
            Kind::Issue | Kind::ReturnFromJob => used = used + out,
            Kind::WriteOff => written_off = written_off + out,
            Kind::ReturnToSupplier => sent_back = sent_back + out,
        }
        if event.kind != Kind::Receipt {
            costs.push(json!({ "seq": event.seq, "cost": text(moved.cost()) }));
        }
        balances.push((event.seq, account.on_hand()));
    }
    let closing = account.on_hand();
    let mut result = Map::new();
    result.insert("event_costs".to_owned(), costs.into());
    result.insert("cost_of_goods_used".to_owned(), text(used.decimal("cost of goods used")?));
    result.insert("write_off_cost".to_owned(), text(written_off.decimal("write-off cost")?));
    result.insert("returned_to_supplier_value".to_owned(), text(sent_back.decimal("returned value")?));
    result.insert("closing_quantity".to_owned(), text(closing.quantity.normalize()));
    result.insert("closing_value".to_owned(), text(closing.value));
    Ok((result, Balances(balances)))
}

fn price(event: &Event) -> Result<Decimal, Refusal> {
    let unit_cost =
        event.unit_cost.ok_or_else(|| Refusal::new("bad_inputs", "A receipt needs a unit_cost."))?;
    worth(event.quantity.0, unit_cost.0)
}

/// What units come to at a unit cost, on the grid that stock values are kept to.
fn worth(quantity: Decimal, unit_cost: Decimal) -> Result<Decimal, Refusal> {
    let value = Ratio::from(quantity) * unit_cost.into();
    Ok(value.rounded(VALUE_PLACES, Toward::HalfEven, "value")?.normalize())
}

fn named<'a>(id: Option<&'a String>, what: &str) -> Result<&'a str, Refusal> {
    let missing = || Refusal::new("bad_inputs", format!("This event needs a {what}."));
    id.map(String::as_str).ok_or_else(missing)
}

fn unknown(what: &str) -> Refusal {
    Refusal::new("bad_inputs", format!("No earlier event has that {what}."))
}

fn repeated(what: &str) -> Refusal {
    Refusal::new("bad_inputs", format!("An earlier event has that {what} already."))
}

#[derive(Default)]
struct Fifo {
    stock: FifoStock<usize>,
    /// Receipts in order; a receipt's position is its layer's key.
    receipt_ids: Vec<String>,
    issues: HashMap<String, Issue<usize>>,
}

impl Account for Fifo {
    fn post(&mut self, event: &Event) -> Result<Movement, Refusal> {
        let quantity = event.quantity.0;
        match event.kind {
            Kind::Receipt => {
                let id = named(event.receipt_id.as_ref(), "receipt_id")?;
                if self.key(id).is_some() {
                    return Err(repeated("receipt_id"));
                }
                let moved = self.stock.receive(self.receipt_ids.len(), quantity, price(event)?)?;
                self.receipt_ids.push(id.to_owned());
                Ok(moved)
            }
            Kind::Issue => {
                let id = named(event.issue_id.as_ref(), "issue_id")?;
                if self.issues.contains_key(id) {
                    return Err(repeated("issue_id"));
                }
                let issue = self.stock.issue(quantity, Shortfall::Refuse)?;
                let cost = issue.cost()?;
                self.issues.insert(id.to_owned(), issue);
                Ok(Movement { quantity: -quantity, value: -cost, true_up: Decimal::ZERO })
            }
            Kind::WriteOff => {
                let cost = self.stock.issue(quantity, Shortfall::Refuse)?.cost()?;
                Ok(Movement { quantity: -quantity, value: -cost, true_up: Decimal::ZERO })
            }
            Kind::ReturnFromJob => {
                let id = named(event.issue_id.as_ref(), "issue_id")?;
                let issue = self.issues.get_mut(id).ok_or_else(|| unknown("issue_id"))?;
                Ok(self.stock.give_back(issue, quantity, &0)?)
            }
            Kind::ReturnToSupplier => {
                let id = named(event.receipt_id.as_ref(), "receipt_id")?;
                let key = self.key(id).ok_or_else(|| unknown("receipt_id"))?;
                Ok(self.stock.send_back(&key, quantity)?)
            }
        }
    }

    fn on_hand(&self) -> Lot {
        self.stock.on_hand()
    }
}

impl Fifo {
    fn key(&self, receipt_id: &str) -> Option<usize> {
        self.receipt_ids.iter().position(|id| id == receipt_id)
    }
}

#[derive(Default)]
struct Average {
    stock: AverageStock,
    unit_costs: HashMap<String, Decimal>,
    /// What each issue still holds, at the average it left at.
    issues: HashMap<String, Lot>,
}

impl Account for Average {
    fn post(&mut self, event: &Event) -> Result<Movement, Refusal> {
        let quantity = event.quantity.0;
        let (stock, moved) = match event.kind {
            Kind::Receipt => {
                let id = named(event.receipt_id.as_ref(), "receipt_id")?;
                if self.unit_costs.contains_key(id) {
                    return Err(repeated("receipt_id"));
                }
                let after = self.stock.receive(quantity, price(event)?)?;
                self.unit_costs.insert(id.to_owned(), event.unit_cost.map_or(Decimal::ZERO, |cost| cost.0));
                after
            }
            Kind::Issue => {
                let id = named(event.issue_id.as_ref(), "issue_id")?;
                if self.issues.contains_key(id) {
                    return Err(repeated("issue_id"));
                }
                let after = self.stock.issue(quantity, Shortfall::Refuse)?;
                self.issues.insert(id.to_owned(), Lot { quantity, value: after.1.cost() });
                after
            }
            Kind::WriteOff => self.stock.issue(quantity, Shortfall::Refuse)?,
            Kind::ReturnFromJob => {
                let id = named(event.issue_id.as_ref(), "issue_id")?;
                let issue = self.issues.get_mut(id).ok_or_else(|| unknown("issue_id"))?;
                if quantity > issue.quantity {
                    return Err(CoreError::Insufficient { what: "units of that issue" }.into());
                }
                let (back, kept) = issue.split(quantity)?;
                let after = self.stock.receive(quantity, back.value)?;
                *issue = kept;
                after
            }
            Kind::ReturnToSupplier => {
                let id = named(event.receipt_id.as_ref(), "receipt_id")?;
                let unit_cost = self.unit_costs.get(id).ok_or_else(|| unknown("receipt_id"))?;
                self.stock.send_back(quantity, worth(quantity, *unit_cost)?)?
            }
        };
        self.stock = stock;
        Ok(moved)
    }

    fn on_hand(&self) -> Lot {
        self.stock.on_hand
    }
}
