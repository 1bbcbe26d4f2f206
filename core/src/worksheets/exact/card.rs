//! Card fees.

use super::{DecimalText, Refusal, Value, json, read, text, with_steps};
use crate::exact::card_fee::CardTerms;
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CardInputs {
    target_net: DecimalText,
    fee_fraction: DecimalText,
    fee_fixed: DecimalText,
    minor_unit_digits: u32,
}

pub(super) fn card_fee(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: CardInputs = read(inputs)?;
    let terms = CardTerms {
        fee_fraction: asked.fee_fraction.0,
        fee_fixed: asked.fee_fixed.0,
        minor_unit_digits: asked.minor_unit_digits,
    };
    let found = terms.charge_for(asked.target_net.0)?;
    let result = json!({
        "unrounded_charge": text(found.unrounded_charge),
        "charge": text(found.charge),
        "fee": text(found.fee),
        "net_received": text(found.net_received),
        "charge_by_rounding_the_formula": text(found.charge_by_rounding_the_formula),
    });
    Ok(with_steps(
        result,
        steps,
        &[
            ("unrounded charge", text(found.unrounded_charge)),
            ("fee on the charge", text(found.fee)),
            ("what arrives", text(found.net_received)),
        ],
    ))
}
