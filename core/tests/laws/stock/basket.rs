//! No basket is dearer than any other that keeps the rules.

use super::market::{Dice, market};
use super::solver::least_cost;
use dropwise_core::Decimal;
use dropwise_core::stock::basket::{Basket, BasketAnswer, BasketProblem, Effort, cheapest_basket};
use proptest::prelude::*;

/// What the rules say these packs cost, written anew; none when a need or a minimum is not met.
fn cost(problem: &BasketProblem, packs: &[u64]) -> Option<Decimal> {
    let mut goods = vec![Decimal::ZERO; problem.suppliers.len()];
    let mut units = vec![0; problem.needs.len()];
    for (offer, packs) in problem.offers.iter().zip(packs).filter(|(_, packs)| **packs > 0) {
        if offer.max_packs.is_some_and(|most| *packs > most) {
            return None;
        }
        let tier = offer.price_tiers.iter().rfind(|tier| tier.from_packs <= *packs)?;
        goods[offer.supplier] += tier.pack_price * Decimal::from(*packs);
        units[offer.product] += packs * offer.pack_size_units;
    }
    if units.iter().zip(&problem.needs).any(|(units, need)| units < need) {
        return None;
    }
    let mut total = Decimal::ZERO;
    for (supplier, terms) in problem.suppliers.iter().enumerate() {
        let ordered = problem.offers.iter().zip(packs).any(|(o, packs)| o.supplier == supplier && *packs > 0);
        if ordered {
            if goods[supplier] < terms.minimum_order_value {
                return None;
            }
            let free = terms.free_freight_from.is_some_and(|from| goods[supplier] >= from);
            total += goods[supplier] + if free { Decimal::ZERO } else { terms.freight_charge };
        }
    }
    Some(total)
}

fn packs(problem: &BasketProblem, basket: &Basket) -> Vec<u64> {
    let mut packs = vec![0; problem.offers.len()];
    for line in &basket.lines {
        packs[line.offer] = line.packs;
    }
    packs
}

#[test]
fn the_basket_costs_what_a_general_purpose_solver_finds() {
    let (mut solved, mut infeasible) = (0, 0);
    for seed in 0..200 {
        let mut dice = Dice(seed);
        let size = |n: u64| usize::try_from(n).unwrap();
        let (products, suppliers) = (size(dice.roll(2, 4)), size(dice.roll(2, 3)));
        let problem = market(1_000 + seed, products, suppliers, dice.roll(1, 2));
        let expected = least_cost(&problem).expect("the solver answers");
        match cheapest_basket(&problem, Effort::default()).unwrap() {
            BasketAnswer::Optimal(basket) => {
                let cents = expected.expect("a basket was found where the solver found none");
                assert_eq!(basket.total_cost, Decimal::new(cents, 2), "seed {seed}");
                assert_eq!(cost(&problem, &packs(&problem, &basket)), Some(basket.total_cost), "seed {seed}");
                solved += 1;
            }
            BasketAnswer::Infeasible => {
                assert_eq!(expected, None, "seed {seed}");
                infeasible += 1;
            }
            other @ (BasketAnswer::WithinGap { .. } | BasketAnswer::Undecided) => {
                panic!("seed {seed}: {other:?}")
            }
        }
    }
    assert!(solved >= 150 && infeasible >= 1, "{solved} solved, {infeasible} infeasible");
}

#[test]
fn a_medium_basket_is_proven_and_always_the_same() {
    for seed in 0..6 {
        let problem = market(seed, 25, 5, 1);
        let first = cheapest_basket(&problem, Effort::default()).unwrap();
        let BasketAnswer::Optimal(basket) = &first else { panic!("seed {seed}: {first:?}") };
        assert_eq!(cost(&problem, &packs(&problem, basket)), Some(basket.total_cost));
        assert_eq!(cheapest_basket(&problem, Effort::default()).unwrap(), first);
    }
}

#[test]
fn little_effort_still_gives_a_basket_and_an_honest_bound() {
    for seed in 0..6 {
        let problem = market(seed, 25, 5, 4);
        let whole = cheapest_basket(&problem, Effort(20_000_000)).unwrap();
        let BasketAnswer::WithinGap { basket, proven_bound } =
            cheapest_basket(&problem, Effort(300_000)).unwrap()
        else {
            continue;
        };
        assert_eq!(cost(&problem, &packs(&problem, &basket)), Some(basket.total_cost));
        assert!(proven_bound < basket.total_cost);
        let best = match whole {
            BasketAnswer::Optimal(best) | BasketAnswer::WithinGap { basket: best, .. } => best.total_cost,
            other @ (BasketAnswer::Infeasible | BasketAnswer::Undecided) => panic!("{other:?}"),
        };
        assert!(proven_bound <= best, "seed {seed}: bound {proven_bound} above a basket of {best}");
    }
}

#[test]
fn a_very_large_basket_is_answered_too() {
    let mut problem = market(1, 1_500, 3, 20);
    // So many products would otherwise include one that nobody has enough of.
    for offer in &mut problem.offers {
        offer.max_packs = None;
    }
    let answer = cheapest_basket(&problem, Effort(30_000_000)).unwrap();
    let (BasketAnswer::Optimal(basket) | BasketAnswer::WithinGap { basket, .. }) = answer else {
        panic!("{answer:?}")
    };
    assert_eq!(cost(&problem, &packs(&problem, &basket)), Some(basket.total_cost));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_random_basket_is_cheaper(seed in any::<u64>(), strain in 0_u64..4) {
        let problem = market(seed, 4, 3, strain);
        let answer = cheapest_basket(&problem, Effort::default()).unwrap();
        let best = match &answer {
            BasketAnswer::Optimal(basket) => Some(basket.total_cost),
            BasketAnswer::WithinGap { proven_bound, .. } => Some(*proven_bound),
            BasketAnswer::Infeasible => None,
            BasketAnswer::Undecided => return Ok(()),
        };
        let mut dice = Dice(seed ^ 1);
        for _ in 0..400 {
            let mut tried = vec![0; problem.offers.len()];
            for (packs, offer) in tried.iter_mut().zip(&problem.offers) {
                if dice.chance(60) {
                    *packs = dice.roll(0, problem.needs[offer.product].div_ceil(offer.pack_size_units) + 1);
                }
            }
            if let Some(other) = cost(&problem, &tried) {
                prop_assert!(best.is_some_and(|best| best <= other), "{best:?} against {other}");
            }
        }
    }
}
