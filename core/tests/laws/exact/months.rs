//! Months: the bridge and the variances add up.

use super::{cents, near, plain};
use dropwise_core::Decimal;
use dropwise_core::exact::cost_variances::{Actual, Paid, Standard, cost_variances};
use dropwise_core::exact::margin_bridge::{MaterialUse, Month, ServiceCard, bridge, month_margin};
use dropwise_core::exact::sales_variances::{Market, Prices, ProductSales, sales_variances};
use proptest::collection::{btree_map, vec};
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

fn name() -> impl Strategy<Value = String> {
    select(&["a", "b", "c", "d"]).prop_map(str::to_owned)
}

fn card() -> impl Strategy<Value = ServiceCard> {
    let used =
        (plain(100_000, 4), plain(1_000_000, 5)).prop_map(|(usage, price)| MaterialUse { usage, price });
    (plain(300, 0), cents(), btree_map(name(), used, 0..4), plain(10_000, 3), plain(10_000, 2)).prop_map(
        |(jobs, price, materials, labour_hours, labour_rate)| ServiceCard {
            jobs,
            price,
            materials,
            labour_hours,
            labour_rate,
        },
    )
}

fn month() -> impl Strategy<Value = Month> {
    (cents(), btree_map(name(), card(), 0..4))
        .prop_map(|(other_costs, services)| Month { other_costs, services })
}

fn product() -> impl Strategy<Value = ProductSales> {
    let prices =
        (plain(100_000, 2), plain(100_000, 2)).prop_map(|(budget, actual)| Prices { budget, actual });
    (plain(10_000, 1), plain(10_000, 1), cents(), option::of(prices)).prop_map(
        |(budget_units, actual_units, budget_contribution_per_unit, prices)| ProductSales {
            budget_units,
            actual_units,
            budget_contribution_per_unit,
            prices,
        },
    )
}

/// A month of one job and nothing else.
fn one_job_at(price: Decimal) -> Month {
    let card = ServiceCard { jobs: Decimal::ONE, price, ..ServiceCard::default() };
    Month { services: [("a".to_owned(), card)].into(), ..Month::default() }
}

#[test]
fn a_cent_too_many_is_taken_from_the_later_of_equal_parts() {
    // Half a cent to minus half a cent: each month rounds away from zero, so two cents change hands
    // where the one step says one.
    let half = Decimal::new(5, 3);
    let found = bridge(&one_job_at(half), &one_job_at(-half), 2).unwrap();
    assert_eq!((found.change, found.exact.price), (Decimal::new(-2, 2), Decimal::new(-1, 2)));
    assert_eq!((found.rounded.price, found.rounded.other), (Decimal::new(-1, 2), Decimal::new(-1, 2)));
}

proptest! {
    #[test]
    fn the_bridge_adds_up_to_the_cent(base in month(), actual in month()) {
        let found = bridge(&base, &actual, 2).unwrap();
        let steps = found.rounded.named().map(|(_, value)| value);
        prop_assert_eq!(steps.iter().sum::<Decimal>(), found.change);
        prop_assert_eq!(found.actual_margin - found.base_margin, found.change);
        prop_assert_eq!(found.base_margin, month_margin(&base, 2).unwrap());
        for (rounded, exact) in steps.iter().zip(found.exact.named()) {
            prop_assert!((rounded - exact.1).abs() <= Decimal::new(1, 2));
        }
    }

    #[test]
    fn a_month_against_itself_has_no_steps(month in month()) {
        let found = bridge(&month, &month, 2).unwrap();
        prop_assert!(found.exact.named().iter().chain(&found.rounded.named()).all(|(_, value)| value.is_zero()));
    }

    #[test]
    fn other_costs_touch_only_their_own_step(base in month(), actual in month(), more in cents()) {
        let mut dearer = actual.clone();
        dearer.other_costs += more;
        let (one, two) = (bridge(&base, &actual, 2).unwrap().exact, bridge(&base, &dearer, 2).unwrap().exact);
        prop_assert!(near(one.other - two.other, more));
        prop_assert_eq!(&one.named()[..7], &two.named()[..7]);
    }

    #[test]
    fn cost_variances_sum_to_the_total(
        used in plain(100_000, 3), paid in plain(100_000, 4), allowed in plain(100_000, 3), price in plain(100_000, 4),
    ) {
        let actual = Actual { quantity: used, paid: Paid::PerUnit(paid), purchased_quantity: None };
        let found = cost_variances(actual, Standard { quantity: allowed, price }).unwrap();
        prop_assert_eq!(found.price + found.quantity, found.total);
        prop_assert_eq!(found.total, used * paid - allowed * price);
    }

    #[test]
    fn a_whole_cost_says_the_same_as_its_unit_price(used in super::above_zero(100_000, 3), paid in plain(100_000, 4)) {
        let standard = Standard { quantity: Decimal::TEN, price: Decimal::ONE };
        let by = |paid| cost_variances(Actual { quantity: used, paid, purchased_quantity: None }, standard).unwrap();
        prop_assert_eq!(by(Paid::PerUnit(paid)), by(Paid::InAll(used * paid)));
    }

    #[test]
    fn sales_variances_split_without_rest(
        mut products in vec(product(), 1..6), market in (super::above_zero(1_000_000, 0), super::above_zero(1_000_000, 0)),
    ) {
        products[0].budget_units += Decimal::ONE;
        let market = Market { budget_units: market.0, actual_units: market.1 };
        let found = sales_variances(&products, Some(market)).unwrap();
        prop_assert!(near(found.quantity + found.mix, found.volume));
        let by_market = found.market.unwrap();
        prop_assert!(near(by_market.size + by_market.share, found.quantity));
        prop_assert_eq!(found.price.is_some(), products.iter().all(|product| product.prices.is_some()));
    }

    #[test]
    fn one_product_has_no_mix(mut product in product()) {
        product.budget_units += Decimal::ONE;
        prop_assert!(sales_variances(&[product], None).unwrap().mix.is_zero());
    }
}
