//! Pay: the week with overtime, employer taxes, the burdened hour.

use super::{DecimalText, Map, Refusal, Value, json, read, text, with_steps};
use crate::exact::overtime::{HoursAtRate, OvertimeRule, Week, week_pay};
use crate::exact::payroll::{EmployerTax, YearOfWork, burdened_hour, employer_tax, taxable_wages};
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;
use serde::Deserialize;

/// Said with every figure of pay.
const PAY_CAUTION: &str = "Pay law differs by place. This informs; check it against the law that applies \
     and with whoever is licensed to advise on it.";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OvertimeInputs {
    work: Vec<WorkInputs>,
    piece_rate_earnings: DecimalText,
    piece_rate_hours: DecimalText,
    bonus: DecimalText,
    overtime_threshold_hours: DecimalText,
    overtime_multiplier: DecimalText,
    guaranteed_hourly_rate: Option<DecimalText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WorkInputs {
    hours: DecimalText,
    hourly_rate: DecimalText,
}

pub(super) fn overtime(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: OvertimeInputs = read(inputs)?;
    let at_rate = |work: &WorkInputs| HoursAtRate { hours: work.hours.0, hourly_rate: work.hourly_rate.0 };
    let work: Vec<HoursAtRate> = asked.work.iter().map(at_rate).collect();
    let week = Week {
        work: &work,
        piece_rate_earnings: asked.piece_rate_earnings.0,
        piece_rate_hours: asked.piece_rate_hours.0,
        bonus: asked.bonus.0,
        guaranteed_hourly_rate: asked.guaranteed_hourly_rate.map(|rate| rate.0),
    };
    let rule = OvertimeRule {
        threshold_hours: asked.overtime_threshold_hours.0,
        multiplier: asked.overtime_multiplier.0,
    };
    let pay = week_pay(&week, rule)?;
    let result = json!({
        "total_hours": text(pay.total_hours),
        "total_remuneration": text(pay.total_remuneration),
        "regular_rate": text(pay.regular_rate),
        "overtime_hours": text(pay.overtime_hours),
        "overtime_premium": text(pay.overtime_premium),
        "overtime_premium_rounded": text(pay.overtime_premium_rounded),
        "total_pay": text(pay.total_pay),
        "caution": PAY_CAUTION,
    });
    Ok(with_steps(
        result,
        steps,
        &[
            ("hours worked", text(pay.total_hours)),
            ("remuneration before the premium", text(pay.total_remuneration)),
            ("regular rate", text(pay.regular_rate)),
            ("hours beyond the threshold", text(pay.overtime_hours)),
            ("premium before rounding", text(pay.overtime_premium)),
        ],
    ))
}

pub(super) fn payroll_burden(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    if inputs.get("annual_wages").is_some() { burden(inputs, steps) } else { employer_taxes(inputs, steps) }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TaxInputs {
    gross_wages: DecimalText,
    year_to_date_wages_before: DecimalText,
    social_security_rate: DecimalText,
    social_security_wage_base: DecimalText,
    medicare_rate: DecimalText,
    federal_unemployment_rate: DecimalText,
    federal_unemployment_wage_base: DecimalText,
    state_unemployment_rate: DecimalText,
    state_unemployment_wage_base: DecimalText,
}

fn employer_taxes(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: TaxInputs = read(inputs)?;
    let tax = |rate: DecimalText, base: Option<DecimalText>| EmployerTax {
        rate: rate.0,
        yearly_wage_base: base.map(|base| base.0),
    };
    let taxes = [
        ("social_security", tax(asked.social_security_rate, Some(asked.social_security_wage_base))),
        ("medicare", tax(asked.medicare_rate, None)),
        (
            "federal_unemployment",
            tax(asked.federal_unemployment_rate, Some(asked.federal_unemployment_wage_base)),
        ),
        ("state_unemployment", tax(asked.state_unemployment_rate, Some(asked.state_unemployment_wage_base))),
    ];
    let (gross, before) = (asked.gross_wages.0, asked.year_to_date_wages_before.0);
    let (mut result, mut total, mut between) = (Map::new(), Ratio::zero(), Vec::new());
    for (name, tax) in taxes {
        let amount = employer_tax(tax, gross, before)?;
        total = total + amount.into();
        result.insert(name.to_owned(), text(amount));
        between.push((format!("wages under {name}"), text(taxable_wages(tax, gross, before)?)));
    }
    let total = total.rounded(2, Toward::HalfUp, "total")?;
    result.insert("employer_payroll_tax_total".to_owned(), text(total));
    result.insert("caution".to_owned(), PAY_CAUTION.into());
    Ok(with_steps(Value::Object(result), steps, &between))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BurdenInputs {
    annual_wages: DecimalText,
    annual_employer_taxes: DecimalText,
    annual_other_employer_costs: DecimalText,
    paid_hours: DecimalText,
    paid_non_productive_hours: DecimalText,
    utilisation: Option<DecimalText>,
}

fn burden(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: BurdenInputs = read(inputs)?;
    let hour = burdened_hour(&YearOfWork {
        annual_wages: asked.annual_wages.0,
        annual_employer_taxes: asked.annual_employer_taxes.0,
        annual_other_employer_costs: asked.annual_other_employer_costs.0,
        paid_hours: asked.paid_hours.0,
        paid_non_productive_hours: asked.paid_non_productive_hours.0,
        utilisation: asked.utilisation.map_or(Decimal::ONE, |share| share.0),
    })?;
    let result = json!({
        "annual_cost": text(hour.annual_cost),
        "productive_hours": text(hour.productive_hours),
        "utilisation_of_paid_hours": text(hour.utilisation_of_paid_hours),
        "cost_per_paid_hour": text(hour.cost_per_paid_hour),
        "cost_per_productive_hour": text(hour.cost_per_productive_hour),
        "cost_per_productive_hour_rounded": text(hour.cost_per_productive_hour_rounded),
        "burden_rate_on_wages": text(hour.burden_rate_on_wages),
        "caution": PAY_CAUTION,
    });
    Ok(with_steps(
        result,
        steps,
        &[
            ("all yearly cost", text(hour.annual_cost)),
            ("hours that can be billed", text(hour.productive_hours)),
            ("cost of an hour billed, before rounding", text(hour.cost_per_productive_hour)),
        ],
    ))
}
