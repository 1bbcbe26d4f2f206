//! One job's cost sheet.

use super::{DecimalText, Map, Refusal, Value, json, read, text, with_steps};
use crate::exact::card_fee::CardTerms;
use crate::exact::job_sheet::{JobFacts, Priced, job_sheet as draw_up};
use crate::exact::overhead::OverheadRate;
use rust_decimal::Decimal;
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    net_revenue: DecimalText,
    #[serde(default)]
    labour_min: Vec<Line>,
    overtime_premium: Option<DecimalText>,
    product_cost: Option<DecimalText>,
    supply_cost: Option<DecimalText>,
    #[serde(default)]
    pad_cycles: Vec<Line>,
    #[serde(default)]
    machine_min: Vec<Line>,
    #[serde(default)]
    travel: Vec<Line>,
    card: Option<Card>,
    overhead: Option<Overhead>,
    minor_unit_digits: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    quantity: DecimalText,
    unit_cost: DecimalText,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Card {
    charge: DecimalText,
    fee_fraction: DecimalText,
    fee_fixed: DecimalText,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Overhead {
    rate: DecimalText,
    base: DecimalText,
}

/// `labour_min` and `machine_min` are minutes at a cost per hour; the other lines cost per unit.
pub(super) fn job_sheet(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: Inputs = read(inputs)?;
    let or_none = |value: Option<DecimalText>| value.map_or(Decimal::ZERO, |value| value.0);
    let (labour, pads) = (lines(&asked.labour_min), lines(&asked.pad_cycles));
    let (machines, travel) = (lines(&asked.machine_min), lines(&asked.travel));
    let terms = |card: &Card| CardTerms {
        fee_fraction: card.fee_fraction.0,
        fee_fixed: card.fee_fixed.0,
        minor_unit_digits: asked.minor_unit_digits,
    };
    let overhead = match &asked.overhead {
        Some(overhead) => Some((OverheadRate::per_base_unit(overhead.rate.0)?, overhead.base.0)),
        None => None,
    };
    let sheet = draw_up(&JobFacts {
        net_revenue: asked.net_revenue.0,
        labour_min: &labour,
        overtime_premium: or_none(asked.overtime_premium),
        product_cost: or_none(asked.product_cost),
        supply_cost: or_none(asked.supply_cost),
        pad_cycles: &pads,
        machine_min: &machines,
        travel: &travel,
        card: asked.card.as_ref().map(|card| (card.charge.0, terms(card))),
        overhead,
        minor_unit_digits: asked.minor_unit_digits,
    })?;
    let named: Map<_, _> =
        sheet.lines.named().into_iter().map(|(name, value)| (name.to_owned(), text(value))).collect();
    let between: Vec<(&str, Value)> =
        sheet.lines.named().into_iter().map(|(name, value)| (name, text(value))).collect();
    let result = json!({
        "net_revenue": text(sheet.net_revenue),
        "lines": named,
        "total_cost": text(sheet.total_cost),
        "contribution": text(sheet.contribution),
        "margin": text(sheet.margin),
        "margin_fraction": sheet.margin_fraction.map(text),
    });
    Ok(with_steps(result, steps, &between))
}

fn lines(asked: &[Line]) -> Vec<Priced> {
    asked.iter().map(|line| Priced { quantity: line.quantity.0, unit_cost: line.unit_cost.0 }).collect()
}
