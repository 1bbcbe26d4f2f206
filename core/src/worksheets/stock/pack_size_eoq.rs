//! `pack_size_eoq`.

use super::answer::Answer;
use crate::stock::pack_quantity::{PackOrder, PackPrice, PackTier, whole_packs};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "pack_size_eoq",
    sentence: "The whole number of packs at which ordering and holding together cost least per year.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    fixed_order_cost: DecimalText,
    demand_per_year: DecimalText,
    pack_size_units: DecimalText,
    max_packs_per_order: Option<u64>,
    holding_cost_per_unit_per_year: Option<DecimalText>,
    holding_cost_rate_per_year: Option<DecimalText>,
    tiers: Option<Vec<Tier>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Tier {
    from_packs: u64,
    unit_cost: DecimalText,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let price = match (inputs.holding_cost_per_unit_per_year, inputs.holding_cost_rate_per_year, inputs.tiers)
    {
        (Some(holding), None, None) => PackPrice::Flat { holding_cost_per_unit_per_year: holding.0 },
        (None, Some(rate), Some(tiers)) => PackPrice::Tiered {
            holding_cost_rate_per_year: rate.0,
            tiers: tiers
                .iter()
                .map(|tier| PackTier { from_packs: tier.from_packs, unit_cost: tier.unit_cost.0 })
                .collect(),
        },
        _ => {
            let rule =
                "Give either holding_cost_per_unit_per_year, or holding_cost_rate_per_year with tiers.";
            return Err(Refusal::new("bad_inputs", rule));
        }
    };
    let order = PackOrder {
        fixed_order_cost: inputs.fixed_order_cost.0,
        demand_per_year: inputs.demand_per_year.0,
        pack_size_units: inputs.pack_size_units.0,
        max_packs_per_order: inputs.max_packs_per_order,
        price,
    };
    let best = whole_packs(&order)?;
    Ok(Answer::new(steps)
        .step("cost_per_year_one_pack_fewer", best.cost_one_pack_fewer)
        .step("cost_per_year_one_pack_more", best.cost_one_pack_more)
        .put("packs", best.packs)
        .put("order_quantity", best.order_quantity.to_string())
        .put("cost_per_year", best.cost_per_year)
        .put("cost_per_year_one_pack_fewer", best.cost_one_pack_fewer)
        .put("cost_per_year_one_pack_more", best.cost_one_pack_more)
        .done())
}
