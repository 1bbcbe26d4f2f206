//! More service never means less stock; the order said to be cheapest is cheaper than its neighbours.

use crate::stats::any_number;
use dropwise_core::Decimal;
use dropwise_core::stock::count_demand::CountDemand;
use dropwise_core::stock::fill_rate::{OrderCycle, ShortageCount, fill_rate_of, reorder_point_for_fill_rate};
use dropwise_core::stock::newsvendor::{MismatchCosts, normal_cost, normal_level, poisson_level};
use dropwise_core::stock::normal::{cumulative, factor_for_loss, loss, service_factor};
use dropwise_core::stock::order_quantity::{OrderCosts, cost_of_quantity, economic_order_quantity};
use dropwise_core::stock::pack_quantity::{PackOrder, PackPrice, PackTier, whole_packs};
use dropwise_core::stock::quantity_discount::{Discount, DiscountedOrder, QuantityTier, cheapest_quantity};
use dropwise_core::stock::reorder_policy::{
    PolicyCosts, normal_quantity, poisson_level as levels, poisson_quantity,
};
use dropwise_core::stock::run_out::{BackgroundUse, BookedUse, run_out};
use dropwise_core::stock::safety_stock::{LeadTimeDemand, Service, reorder_point};
use dropwise_core::stock::transfer::{Lane, plan_transfer};
use proptest::collection::vec;
use proptest::prelude::*;
use rust_decimal::prelude::FromPrimitive;

fn cents(range: std::ops::Range<i64>) -> impl Strategy<Value = Decimal> {
    range.prop_map(|n| Decimal::new(n, 2))
}

fn any_decimal() -> impl Strategy<Value = Decimal> {
    prop_oneof![
        (any::<i64>(), 0_u32..24).prop_map(|(digits, scale)| Decimal::new(digits, scale)),
        Just(Decimal::MAX),
        Just(Decimal::MIN),
        Just(Decimal::ZERO),
    ]
}

proptest! {
    #[test]
    fn more_service_never_lowers_a_reorder_point(
        demand in (0.0_f64..1e3, 0.0_f64..1e3, 0.0_f64..60.0, 0.0_f64..20.0, 0.0_f64..30.0),
        levels in (0.001_f64..0.999, 0.001_f64..0.999),
    ) {
        let (low, high) = (levels.0.min(levels.1), levels.0.max(levels.1));
        let demand = LeadTimeDemand {
            demand_per_day_mean: demand.0,
            demand_per_day_sd: demand.1,
            lead_time_days_mean: demand.2,
            lead_time_days_sd: demand.3,
            review_period_days: demand.4,
        };
        let point = |level| reorder_point(demand, Service::CycleServiceLevel(level)).unwrap().reorder_point;
        prop_assert!(point(low) <= point(high));
        let cycle = |count| OrderCycle { demand_mean: demand.demand_per_day_mean, demand_sd: 1.0 + demand.demand_per_day_sd, order_quantity: 50.0, count };
        for count in [ShortageCount::PerCycle, ShortageCount::Exact] {
            let point = |rate| reorder_point_for_fill_rate(cycle(count), rate).unwrap().reorder_point;
            prop_assert!(point(low) <= point(high) + 1e-9);
        }
        let pieces = CountDemand::poisson(demand.demand_per_day_mean).unwrap();
        prop_assert!(pieces.quantile(low).unwrap().reorder_point <= pieces.quantile(high).unwrap().reorder_point);
    }

    #[test]
    fn a_reorder_point_gives_the_fill_rate_it_was_made_for(
        mean in 0.0_f64..1e3, sd in 0.1_f64..300.0, quantity in 1.0_f64..2e3, rate in 0.01_f64..0.9999,
    ) {
        for count in [ShortageCount::PerCycle, ShortageCount::Exact] {
            let cycle = OrderCycle { demand_mean: mean, demand_sd: sd, order_quantity: quantity, count };
            let point = reorder_point_for_fill_rate(cycle, rate).unwrap().reorder_point;
            prop_assert!((fill_rate_of(cycle, point).unwrap().fill_rate - rate).abs() < 1e-9);
        }
    }

    #[test]
    fn factors_undo_their_functions(z in -6.0_f64..6.0) {
        prop_assert!((service_factor(cumulative(z)).unwrap() - z).abs() < 1e-6);
        prop_assert!((factor_for_loss(loss(z)).unwrap() - z).abs() < 1e-6);
        prop_assert!((loss(-z) - (z + loss(z))).abs() < 1e-12);
    }

    #[test]
    fn the_economic_quantity_costs_least(
        k in cents(1..100_000), h in cents(1..10_000), d in cents(1..10_000_000), away in 0.01_f64..0.99,
    ) {
        let costs = OrderCosts { fixed_order_cost: k, holding_cost_per_unit_per_year: h, demand_per_year: d };
        let best = economic_order_quantity(costs).unwrap();
        for other in [best.quantity * (1.0 - away), best.quantity * (1.0 + away)] {
            let other = Decimal::from_f64(other).unwrap();
            prop_assume!(other > Decimal::ZERO);
            prop_assert!(cost_of_quantity(costs, other).unwrap() >= best.cost_per_year * (1.0 - 1e-12));
        }
    }

    #[test]
    fn whole_packs_cost_least(
        k in cents(1..10_000), h in cents(1..1_000), d in cents(100..100_000), pack in 1_i64..40,
        cheaper in (2_u64..9, 1_i64..90), limit in proptest::option::of(1_u64..30),
    ) {
        let tier = |from_packs, percent: i64| PackTier { from_packs, unit_cost: Decimal::new(9 * percent, 2) };
        for price in [
            PackPrice::Flat { holding_cost_per_unit_per_year: h },
            PackPrice::Tiered { holding_cost_rate_per_year: Decimal::new(25, 2), tiers: vec![tier(1, 100), tier(cheaper.0, 100 - cheaper.1)] },
        ] {
            let order = PackOrder { fixed_order_cost: k, demand_per_year: d, pack_size_units: pack.into(), max_packs_per_order: limit, price };
            let best = whole_packs(&order).unwrap();
            for n in 1..=limit.unwrap_or(200) {
                let alone = PackOrder { max_packs_per_order: Some(n), ..order.clone() };
                prop_assert!(whole_packs(&alone).unwrap().cost_per_year >= best.cost_per_year - 1e-9);
            }
            prop_assert!(best.cost_one_pack_fewer.is_none_or(|cost| cost > best.cost_per_year - 1e-9));
        }
    }

    #[test]
    fn a_discount_is_taken_only_when_it_pays(
        k in cents(1..100_000), d in cents(100..1_000_000), from in 1_i64..1_000, less in 0_i64..500, q in 0.1_f64..5e3,
    ) {
        let tiers = [
            QuantityTier { from_quantity: Decimal::ZERO, unit_cost: Decimal::new(1_000, 2) },
            QuantityTier { from_quantity: from.into(), unit_cost: Decimal::new(1_000 - less, 2) },
        ];
        let rate = Decimal::new(20, 2);
        let order = DiscountedOrder { fixed_order_cost: k, holding_cost_rate_per_year: rate, demand_per_year: d, tiers: &tiers };
        let real = |x: Decimal| rust_decimal::prelude::ToPrimitive::to_f64(&x).unwrap();
        let (k, d, from, c) = (real(k), real(d), real(from.into()), 10.0 - real(Decimal::new(less, 2)));
        let all = if q >= from { c * q } else { 10.0 * q };
        let above = if q >= from { 10.0 * from + c * (q - from) } else { 10.0 * q };
        for (discount, paid) in [(Discount::AllUnits, all), (Discount::Incremental, above)] {
            let total = d * paid / q + k * d / q + 0.2 * paid / 2.0;
            let best = cheapest_quantity(order, discount).unwrap().total_cost_per_year;
            prop_assert!(best <= total * (1.0 + 1e-9), "{:?}: {} against {}", discount, best, total);
        }
    }

    #[test]
    fn the_newsvendor_level_costs_least(
        over in cents(1..10_000), under in cents(1..10_000), mean in 0.0_f64..500.0, sd in 0.1_f64..200.0, away in -3.0_f64..3.0,
    ) {
        let costs = MismatchCosts { overage: over, underage: under };
        let best = normal_level(costs, mean, sd).unwrap();
        let other = normal_cost(costs, mean, sd, best.order_up_to + away * sd).unwrap();
        prop_assert!(other >= best.expected_cost * (1.0 - 1e-9));
    }

    #[test]
    fn the_best_policy_costs_no_more_than_others(
        k in cents(100..100_000), h in cents(1..1_000), b in cents(1..10_000),
        mean in 1.0_f64..2e3, sd in 0.0_f64..500.0, lead in 0.0_f64..1.0, away in (-1.0_f64..1.0, 0.2_f64..3.0),
    ) {
        let costs = PolicyCosts { fixed_order_cost: k, holding_cost_per_unit: h, backorder_cost_per_unit: b };
        let demand = normal_quantity::NormalDemand { mean, sd, lead_time: lead };
        let best = normal_quantity::best_policy(costs, demand).unwrap();
        let (r, q) = (best.reorder_point + away.0 * best.order_quantity, best.order_quantity * away.1);
        prop_assert!(normal_quantity::policy_cost(costs, demand, r, q).unwrap() >= best.cost * (1.0 - 1e-7));
    }

    #[test]
    fn moving_stock_is_cheapest_and_moves_all_it_can(
        surplus in vec(0_u64..6, 1..3), deficit in vec(0_u64..6, 1..3), costs in vec(cents(0..500), 4), open in vec(any::<bool>(), 4),
    ) {
        let mut lanes = Vec::new();
        for from in 0..surplus.len() {
            for to in 0..deficit.len() {
                if open[2 * from + to] {
                    lanes.push(Lane { from, to, cost_per_unit: costs[2 * from + to] });
                }
            }
        }
        let plan = plan_transfer(&surplus, &deficit, &lanes).unwrap();
        let best = every_plan(&surplus, &deficit, &lanes);
        prop_assert_eq!((plan.units_transferred, plan.transfer_cost), best);
        prop_assert_eq!(plan.units_to_buy, deficit.iter().sum::<u64>() - best.0);
    }

    #[test]
    fn more_stock_never_runs_out_sooner(
        level in 0_i64..500, more in 0_i64..200, mean in cents(0..2_000), variance in cents(0..5_000),
        bookings in vec((1_u32..30, 0_u32..20, cents(0..3_000)), 0..4),
    ) {
        let bookings: Vec<BookedUse> = bookings
            .into_iter()
            .map(|(from_day, days, demand_per_day)| BookedUse { from_day, to_day: from_day + days, demand_per_day })
            .collect();
        let background = BackgroundUse { mean_per_day: mean, variance_per_day: variance };
        let less = run_out(level.into(), background, &bookings, 0.05, 60).unwrap();
        let more = run_out((level + more).into(), background, &bookings, 0.05, 60).unwrap();
        let day = |day: Option<u32>| day.unwrap_or(u32::MAX);
        prop_assert!(day(less.first_day_at_risk) <= day(more.first_day_at_risk));
        prop_assert!(day(less.expected_run_out_day) <= day(more.expected_run_out_day));
        for (a, b) in less.days.iter().zip(&more.days) {
            prop_assert!(a.probability >= b.probability);
        }
    }

    #[test]
    fn any_figures_are_answered_or_refused(
        n in vec(any_number(), 6), a in any_decimal(), b in any_decimal(), c in any_decimal(), k in any::<u64>(),
    ) {
        let _ = (service_factor(n[0]), factor_for_loss(n[0]), loss(n[0]));
        if let Ok(demand) = CountDemand::negative_binomial(n[0], n[1]) {
            let _ = demand.quantile(n[2]);
        }
        let demand = LeadTimeDemand { demand_per_day_mean: n[0], demand_per_day_sd: n[1], lead_time_days_mean: n[2], lead_time_days_sd: n[3], review_period_days: n[4] };
        let _ = (reorder_point(demand, Service::CycleServiceLevel(n[5])), reorder_point(demand, Service::Factor(n[5])));
        for count in [ShortageCount::PerCycle, ShortageCount::Exact] {
            let cycle = OrderCycle { demand_mean: n[0], demand_sd: n[1], order_quantity: n[2], count };
            let _ = (reorder_point_for_fill_rate(cycle, n[3]), fill_rate_of(cycle, n[4]));
        }
        let costs = OrderCosts { fixed_order_cost: a, holding_cost_per_unit_per_year: b, demand_per_year: c };
        let _ = (economic_order_quantity(costs), cost_of_quantity(costs, a));
        let _ = whole_packs(&PackOrder { fixed_order_cost: a, demand_per_year: b, pack_size_units: c, max_packs_per_order: Some(k), price: PackPrice::Flat { holding_cost_per_unit_per_year: a } });
        let costs = MismatchCosts { overage: a, underage: b };
        let _ = (normal_level(costs, n[0], n[1]), normal_cost(costs, n[0], n[1], n[2]), poisson_level(costs, n[0]));
        let costs = PolicyCosts { fixed_order_cost: a, holding_cost_per_unit: b, backorder_cost_per_unit: c };
        let demand = normal_quantity::NormalDemand { mean: n[0], sd: n[1], lead_time: n[2] };
        let _ = (normal_quantity::best_policy(costs, demand), normal_quantity::best_reorder_point(costs, demand, n[3]));
        let background = BackgroundUse { mean_per_day: b, variance_per_day: c };
        let _ = run_out(a, background, &[BookedUse { from_day: 1, to_day: u32::MAX, demand_per_day: b }], n[0], 40);
        let _ = plan_transfer(&[k, 7], &[k, k], &[Lane { from: 0, to: 1, cost_per_unit: a }, Lane { from: 1, to: 0, cost_per_unit: b }]);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    #[test]
    fn whole_piece_policies_cost_no_more_than_their_neighbours(
        k in cents(100..20_000), h in cents(10..500), b in cents(10..5_000), mean in 0.2_f64..40.0,
    ) {
        let costs = PolicyCosts { fixed_order_cost: k, holding_cost_per_unit: h, backorder_cost_per_unit: b };
        let best = levels::best_policy(costs, mean).unwrap();
        for (s, top) in [(-1, 0), (1, 0), (0, -1), (0, 1), (1, 1), (-1, -1), (-2, 3)] {
            let (s, top) = (best.reorder_level + s, best.order_up_to_level + top);
            if top > s {
                prop_assert!(levels::policy_cost(costs, mean, s, top).unwrap() >= best.cost * (1.0 - 1e-9));
            }
        }
        // A dearer order never makes the order smaller.
        let dearer = PolicyCosts { fixed_order_cost: k + Decimal::TEN, ..costs };
        let (one, two) = (poisson_quantity::best_policy(costs, mean, 0.5).unwrap(), poisson_quantity::best_policy(dearer, mean, 0.5).unwrap());
        prop_assert!(one.order_quantity <= two.order_quantity);
    }
}

/// The most units and least cost, by trying every whole number on every lane.
fn every_plan(surplus: &[u64], deficit: &[u64], lanes: &[Lane]) -> (u64, Decimal) {
    let Some((lane, rest)) = lanes.split_first() else { return (0, Decimal::ZERO) };
    let most = surplus[lane.from].min(deficit[lane.to]);
    (0..=most)
        .map(|units| {
            let (mut surplus, mut deficit) = (surplus.to_vec(), deficit.to_vec());
            surplus[lane.from] -= units;
            deficit[lane.to] -= units;
            let (more, cost) = every_plan(&surplus, &deficit, rest);
            (units + more, cost + Decimal::from(units) * lane.cost_per_unit)
        })
        .reduce(
            |best, other| {
                if other.0 > best.0 || (other.0 == best.0 && other.1 < best.1) { other } else { best }
            },
        )
        .unwrap()
}
