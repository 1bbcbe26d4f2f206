//! Worksheets of the `exact` room and of `units`. Each reads inputs, calls one function, writes its
//! result; no formula here.

mod assets;
mod bridge;
mod card;
mod job;
mod pay;
mod pricing;
mod quantities;
mod rounding;
mod stock_costing;
mod variances;

use super::{DecimalText, Refusal, Worksheet, read};
use rust_decimal::Decimal;
use serde_json::{Map, Value, json};

/// Every worksheet of this room, in name order.
pub(super) const ALL: &[Worksheet] = &[
    Worksheet {
        method: "card_fee",
        sentence: "What to charge a card so that the wanted amount arrives after the fee.",
        run: card::card_fee,
    },
    Worksheet {
        method: "cents_allocation",
        sentence: "Shares a total over weights so that the shares add up to it.",
        run: rounding::cents_allocation,
    },
    Worksheet {
        method: "cost_variances",
        sentence: "Why material, labour or overhead cost more, or less, than its standard.",
        run: variances::cost_variances,
    },
    Worksheet {
        method: "cost_volume_profit",
        sentence: "What a sale leaves, where that covers fixed costs, and the sales a wanted profit takes.",
        run: pricing::cost_volume_profit,
    },
    Worksheet {
        method: "currency_minor_units",
        sentence: "An amount in whole minor units of its currency.",
        run: rounding::currency_minor_units,
    },
    Worksheet {
        method: "depreciation",
        sentence: "What a machine or van loses in value each period, by years or by use.",
        run: assets::depreciation,
    },
    Worksheet {
        method: "dilution",
        sentence: "How much concentrate and water a batch takes, and what it costs.",
        run: quantities::dilution,
    },
    Worksheet {
        method: "job_sheet",
        sentence: "What one job took, brought in and left, in lines that sum to its cost.",
        run: job::job_sheet,
    },
    Worksheet {
        method: "margin_bridge",
        sentence: "Why the margin moved from one month to the next, in steps that add up to the cent.",
        run: bridge::margin_bridge,
    },
    Worksheet {
        method: "mileage",
        sentence: "What driven miles come to at a rate per mile.",
        run: assets::mileage,
    },
    Worksheet {
        method: "overhead",
        sentence: "Overhead applied to jobs at a rate set in advance, and what the period left over.",
        run: pricing::overhead,
    },
    Worksheet {
        method: "overtime",
        sentence: "A week's pay with the overtime premium on the regular rate.",
        run: pay::overtime,
    },
    Worksheet {
        method: "payroll_burden",
        sentence: "Employer taxes on one pay, or what an hour of somebody's time really costs.",
        run: pay::payroll_burden,
    },
    Worksheet {
        method: "rounding",
        sentence: "A value to so many decimals, halves away from zero and halves to even.",
        run: rounding::rounding,
    },
    Worksheet {
        method: "sales_variances",
        sentence: "Why sales brought in more, or less, than planned: price, volume, mix and market.",
        run: variances::sales_variances,
    },
    Worksheet {
        method: "stock_costing_fifo",
        sentence: "What used stock cost and what is left, first in, first out.",
        run: stock_costing::fifo,
    },
    Worksheet {
        method: "stock_costing_moving_average",
        sentence: "What used stock cost and what is left, at the moving average.",
        run: stock_costing::moving_average,
    },
    Worksheet {
        method: "target_price",
        sentence: "The least price that leaves a wanted margin after all costs and the card fee.",
        run: pricing::target_price,
    },
    Worksheet {
        method: "units",
        sentence: "A quantity in another unit of the same kind.",
        run: quantities::units,
    },
];

/// A decimal as it travels: plain digits in a string.
fn text(value: Decimal) -> Value {
    Value::String(value.to_string())
}

/// Decimals as they travel.
fn texts(values: &[Decimal]) -> Value {
    values.iter().copied().map(text).collect()
}

/// The decimals of a list of inputs.
fn decimals(values: &[DecimalText]) -> Vec<Decimal> {
    values.iter().map(|value| value.0).collect()
}

/// The result with the figures between, when they were asked for.
fn with_steps<S: AsRef<str>>(mut result: Value, asked: bool, steps: &[(S, Value)]) -> Value {
    if asked && let Some(fields) = result.as_object_mut() {
        let steps =
            steps.iter().map(|(name, value)| json!({ "name": name.as_ref(), "value": value })).collect();
        fields.insert("steps".to_owned(), steps);
    }
    result
}
