//! The same basket, written out for a general-purpose integer solver.

use dropwise_core::Decimal;
use dropwise_core::stock::basket::BasketProblem;
use microlp::{ComparisonOp, Error, LinearExpr, OptimizationDirection, Problem, Variable};
use rust_decimal::prelude::ToPrimitive;

/// Least total cost in cents; none when there is no basket.
pub(super) fn least_cost(problem: &BasketProblem) -> Result<Option<i64>, Error> {
    let mut model = Problem::new(OptimizationDirection::Minimize);
    let mut goods: Vec<Vec<(Variable, f64)>> = vec![Vec::new(); problem.suppliers.len()];
    let mut units: Vec<Vec<(Variable, f64)>> = vec![Vec::new(); problem.needs.len()];
    let mut opened: Vec<Vec<Variable>> = Vec::new();
    let mut thresholds: Vec<Vec<(Variable, f64)>> = Vec::new();
    for terms in &problem.suppliers {
        let minimum = number(terms.minimum_order_value);
        let paid = model.add_binary_var(number(terms.freight_charge));
        let mut ways = vec![(paid, minimum)];
        if let Some(from) = terms.free_freight_from {
            ways.push((model.add_binary_var(0.0), number(from).max(minimum)));
        }
        opened.push(ways.iter().map(|(way, _)| *way).collect());
        thresholds.push(ways);
    }
    for offer in &problem.offers {
        let last = offer.price_tiers.last().unwrap();
        let reach = thresholds[offer.supplier].iter().map(|(_, threshold)| *threshold).fold(0.0, f64::max);
        // As many packs as could ever be of use.
        let most = (problem.needs[offer.product] / offer.pack_size_units + 1)
            .max(last.from_packs)
            .max((reach / number(last.pack_price)).ceil().to_u64().unwrap() + 1)
            .min(offer.max_packs.unwrap_or(u64::MAX));
        let mut chosen = Vec::new();
        for (index, tier) in offer.price_tiers.iter().enumerate() {
            let to = offer.price_tiers.get(index + 1).map_or(most, |next| (next.from_packs - 1).min(most));
            if tier.from_packs > to {
                continue;
            }
            let price = number(tier.pack_price);
            let packs = model.add_integer_var(price, (0, i32::try_from(to).unwrap()));
            let taken = model.add_binary_var(0.0);
            model.add_constraint([(packs, 1.0), (taken, -real(tier.from_packs))], ComparisonOp::Ge, 0.0);
            model.add_constraint([(packs, 1.0), (taken, -real(to))], ComparisonOp::Le, 0.0);
            goods[offer.supplier].push((packs, price));
            units[offer.product].push((packs, real(offer.pack_size_units)));
            chosen.push(taken);
        }
        // One tier at most, and only from a supplier that is ordered from.
        let mut link: LinearExpr = chosen.iter().map(|taken| (*taken, 1.0)).collect();
        for way in &opened[offer.supplier] {
            link.add(*way, -1.0);
        }
        model.add_constraint(link, ComparisonOp::Le, 0.0);
    }
    for (units, need) in units.iter().zip(&problem.needs) {
        if units.is_empty() && *need > 0 {
            return Ok(None);
        }
        model.add_constraint(units.as_slice(), ComparisonOp::Ge, real(*need));
    }
    for (supplier, ways) in thresholds.iter().enumerate() {
        let one: Vec<(Variable, f64)> = ways.iter().map(|(way, _)| (*way, 1.0)).collect();
        model.add_constraint(one.as_slice(), ComparisonOp::Le, 1.0);
        let mut reached = goods[supplier].clone();
        reached.extend(ways.iter().map(|(way, threshold)| (*way, -threshold)));
        model.add_constraint(reached.as_slice(), ComparisonOp::Ge, 0.0);
    }
    match model.solve() {
        Ok(outcome) => {
            let solution = outcome.into_solution().expect("a solution without a limit of time");
            Ok(Some((solution.objective() * 100.0).round().to_i64().unwrap()))
        }
        Err(Error::Infeasible) => Ok(None),
        Err(other) => Err(other),
    }
}

fn number(amount: Decimal) -> f64 {
    amount.to_f64().unwrap()
}

fn real(n: u64) -> f64 {
    n.to_f64().unwrap()
}
