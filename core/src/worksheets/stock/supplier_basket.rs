//! `supplier_basket`.

use super::answer::Answer;
use crate::stock::basket::{
    Basket, BasketAnswer, BasketProblem, Effort, Offer, PriceTier, SupplierTerms, cheapest_basket,
};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::{Value, json};

pub(super) const SHEET: Worksheet = Worksheet {
    method: "supplier_basket",
    sentence: "What to buy from whom at least cost, with packs, price breaks, minimum orders and freight.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    needs: Vec<Need>,
    suppliers: Vec<Supplier>,
    offers: Vec<NamedOffer>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Need {
    product: String,
    need_units: u64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(clippy::struct_field_names, reason = "the names of the check values")]
struct Supplier {
    supplier: String,
    minimum_order_value: DecimalText,
    freight_charge: DecimalText,
    free_freight_from: Option<DecimalText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NamedOffer {
    product: String,
    supplier: String,
    pack_size_units: u64,
    price_tiers: Vec<Tier>,
    max_packs: Option<u64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Tier {
    from_packs: u64,
    pack_price: DecimalText,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let answer = Answer::new(steps);
    Ok(match cheapest_basket(&problem(&inputs)?, Effort::default())? {
        BasketAnswer::Optimal(basket) => put(answer, "optimal", &inputs, &basket)
            .put("proven_bound", basket.total_cost.to_string())
            .put("gap", "0"),
        BasketAnswer::WithinGap { basket, proven_bound } => put(answer, "within_gap", &inputs, &basket)
            .put("proven_bound", proven_bound.to_string())
            .put("gap", (basket.total_cost - proven_bound).to_string()),
        BasketAnswer::Infeasible => answer.put("status", "infeasible"),
        BasketAnswer::Undecided => answer.put("status", "undecided"),
    }
    .done())
}

fn problem(inputs: &Inputs) -> Result<BasketProblem, Refusal> {
    let suppliers = inputs
        .suppliers
        .iter()
        .map(|supplier| SupplierTerms {
            minimum_order_value: supplier.minimum_order_value.0,
            freight_charge: supplier.freight_charge.0,
            free_freight_from: supplier.free_freight_from.map(|from| from.0),
        })
        .collect();
    let unknown = |index: usize, field: &str| {
        Refusal::new("bad_inputs", format!("An offer must name a {field} that is listed."))
            .at(format!("/offers/{index}/{field}"))
    };
    let mut offers = Vec::with_capacity(inputs.offers.len());
    for (index, offer) in inputs.offers.iter().enumerate() {
        let product = inputs.needs.iter().position(|need| need.product == offer.product);
        let supplier = inputs.suppliers.iter().position(|supplier| supplier.supplier == offer.supplier);
        offers.push(Offer {
            product: product.ok_or_else(|| unknown(index, "product"))?,
            supplier: supplier.ok_or_else(|| unknown(index, "supplier"))?,
            pack_size_units: offer.pack_size_units,
            price_tiers: offer
                .price_tiers
                .iter()
                .map(|tier| PriceTier { from_packs: tier.from_packs, pack_price: tier.pack_price.0 })
                .collect(),
            max_packs: offer.max_packs,
        });
    }
    Ok(BasketProblem { needs: inputs.needs.iter().map(|need| need.need_units).collect(), suppliers, offers })
}

fn put(mut answer: Answer, status: &str, inputs: &Inputs, basket: &Basket) -> Answer {
    let mut lines = Vec::new();
    for line in &basket.lines {
        let Some(offer) = inputs.offers.get(line.offer) else { continue };
        lines.push(json!({
            "product": offer.product,
            "supplier": offer.supplier,
            "packs": line.packs,
            "pack_price": line.pack_price.to_string(),
        }));
    }
    answer = answer
        .step("goods", basket.goods.to_string())
        .step("freight", basket.freight.to_string())
        .put("status", status)
        .put("total_cost", basket.total_cost.to_string())
        .put("goods", basket.goods.to_string())
        .put("freight", basket.freight.to_string());
    answer.put("lines", lines)
}
