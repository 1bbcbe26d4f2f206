//! Pay, fees, prices, depreciation.

use super::{above_zero, plain};
use dropwise_core::Decimal;
use dropwise_core::exact::break_even::UnitEconomics;
use dropwise_core::exact::card_fee::CardTerms;
use dropwise_core::exact::depreciation::Asset;
use dropwise_core::exact::job_sheet::{JobFacts, Priced, job_sheet};
use dropwise_core::exact::mileage::{Leg, mileage_amount, us_standard_rate};
use dropwise_core::exact::overhead::OverheadRate;
use dropwise_core::exact::overtime::{HoursAtRate, OvertimeRule, Week, week_pay};
use dropwise_core::exact::pad_cost::PadAccount;
use dropwise_core::exact::payroll::{EmployerTax, employer_tax};
use dropwise_core::exact::target_price::price_for_margin;
use proptest::collection::vec;
use proptest::prelude::*;

fn money() -> impl Strategy<Value = Decimal> {
    (0..=10_000_000_i64).prop_map(|cents| Decimal::new(cents, 2))
}

fn fraction() -> impl Strategy<Value = Decimal> {
    (0..1_000_i64).prop_map(|thousandths| Decimal::new(thousandths, 3))
}

fn terms() -> impl Strategy<Value = CardTerms> {
    (fraction(), plain(1_000, 3), 0..=3_u32).prop_map(|(fee_fraction, fee_fixed, minor_unit_digits)| {
        CardTerms { fee_fraction, fee_fixed, minor_unit_digits }
    })
}

fn paid(work: &[HoursAtRate], bonus: Decimal) -> Decimal {
    let week = Week {
        work,
        piece_rate_earnings: Decimal::ZERO,
        piece_rate_hours: Decimal::ZERO,
        bonus,
        guaranteed_hourly_rate: None,
    };
    let rule = OvertimeRule { threshold_hours: Decimal::from(40), multiplier: Decimal::new(15, 1) };
    week_pay(&week, rule).unwrap().total_pay
}

#[test]
fn standard_mileage_rates_are_those_of_the_check_values() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/costing/mileage.json");
    let table: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let rates = table["rates"].as_array().unwrap();
    assert!(rates.len() >= 7);
    for rate in rates {
        let from: Vec<&str> = rate["from"].as_str().unwrap().split('-').collect();
        let held = us_standard_rate(from[0].parse().unwrap(), from[1].parse().unwrap());
        assert_eq!(held, Some(rate["usd_per_mile"].as_str().unwrap().parse().unwrap()), "{}", rate["from"]);
    }
}

proptest! {
    #[test]
    fn a_pad_is_borne_once_however_long_it_lasts(
        cost in money(), salvage in money(), expected_cycles in 1..300_u32, worked in vec(1..40_u32, 0..40),
    ) {
        let mut pad = PadAccount { cost, salvage_value: salvage, expected_cycles, charged: Decimal::ZERO };
        let to_bear = (cost - salvage).max(Decimal::ZERO);
        for cycles in &worked {
            let charge = pad.cycle_charge(*cycles).unwrap();
            prop_assert!(charge >= Decimal::ZERO);
            pad.charged += charge;
            prop_assert_eq!(pad.charged + pad.unamortised().unwrap(), to_bear);
        }
        if worked.iter().sum::<u32>() > expected_cycles {
            // Each charge may lose half a step of the twelfth decimal.
            prop_assert!(pad.unamortised().unwrap() <= Decimal::new(40, 12));
        }
    }

    #[test]
    fn a_charge_is_the_least_that_leaves_enough(terms in terms(), target in money()) {
        let found = terms.charge_for(target).unwrap();
        prop_assert!(found.net_received >= target);
        prop_assert_eq!(found.charge - found.fee, found.net_received);
        let one_less = found.charge - Decimal::new(1, terms.minor_unit_digits);
        prop_assert!(one_less < Decimal::ZERO || one_less - terms.fee(one_less).unwrap() < target);
    }

    #[test]
    fn a_price_is_the_least_whole_one(cost in money(), margin in fraction(), card in terms()) {
        let Ok(found) = price_for_margin(cost, margin, card) else {
            prop_assert!(margin + card.fee_fraction >= Decimal::ONE);
            return Ok(());
        };
        let above = found.price - found.price_unrounded;
        prop_assert!(above >= Decimal::new(-1, 15) && above < Decimal::new(1, card.minor_unit_digits));
        prop_assert_eq!(found.price - cost - found.card_fee, found.profit);
    }

    #[test]
    fn longer_weeks_never_pay_less(hours in above_zero(1_000, 1), more in plain(500, 1), rate in money()) {
        let work = |hours| [HoursAtRate { hours, hourly_rate: rate }];
        prop_assert!(paid(&work(hours), Decimal::ZERO) <= paid(&work(hours + more), Decimal::ZERO));
    }

    #[test]
    fn hours_may_be_listed_in_any_pieces(hours in vec(above_zero(200, 1), 2..6), rate in money(), bonus in money()) {
        let pieces: Vec<_> = hours.iter().map(|hours| HoursAtRate { hours: *hours, hourly_rate: rate }).collect();
        let whole = [HoursAtRate { hours: hours.iter().sum(), hourly_rate: rate }];
        prop_assert_eq!(paid(&pieces, bonus), paid(&whole, bonus));
    }

    #[test]
    fn up_to_the_threshold_there_is_no_premium(hours in above_zero(40, 1), rate in money(), bonus in money()) {
        let straight = dropwise_core::exact::rounding::round_money(hours * rate + bonus, 2).unwrap();
        prop_assert_eq!(paid(&[HoursAtRate { hours, hourly_rate: rate }], bonus), straight);
    }

    #[test]
    fn a_year_in_two_pays_owes_the_same_but_for_a_cent(rate in fraction(), base in money(), one in money(), two in money()) {
        let tax = EmployerTax { rate, yearly_wage_base: Some(base) };
        let together = employer_tax(tax, one + two, Decimal::ZERO).unwrap();
        let apart = employer_tax(tax, one, Decimal::ZERO).unwrap() + employer_tax(tax, two, one).unwrap();
        prop_assert!((together - apart).abs() <= Decimal::new(1, 2));
        prop_assert!(employer_tax(tax, one, base).unwrap().is_zero());
    }

    #[test]
    fn a_schedule_uses_up_the_base_and_ends_at_salvage(salvage in money(), base in money(), years in 1..=60_u32, months in 1..=12_u32) {
        let asset = Asset { cost: salvage + base, salvage_value: salvage, minor_unit_digits: 2 };
        let schedule = asset.straight_line(years, months).unwrap();
        prop_assert_eq!(schedule.charges.iter().sum::<Decimal>(), base);
        prop_assert!(schedule.charges.iter().all(|charge| *charge >= Decimal::ZERO));
        prop_assert_eq!(schedule.closing_book_values.last().copied(), Some(salvage));
    }

    #[test]
    fn use_never_charges_more_than_the_base(salvage in money(), base in money(), life in above_zero(100_000, 1), used in vec(plain(100_000, 1), 0..12)) {
        let asset = Asset { cost: salvage + base, salvage_value: salvage, minor_unit_digits: 2 };
        let schedule = asset.units_of_production(life, &used).unwrap();
        let charged: Decimal = schedule.charges.iter().sum();
        prop_assert!(charged <= base);
        if used.iter().sum::<Decimal>() >= life * Decimal::TWO {
            // Each period is rounded, so twice the life is well past the last cent.
            prop_assert!(base - charged <= Decimal::new(12, 2));
        }
    }

    #[test]
    fn miles_split_into_legs_come_to_the_same(miles in vec(plain(10_000, 1), 0..8), rate in plain(1_000, 3)) {
        let legs: Vec<Leg> = miles.iter().map(|miles| Leg { miles: *miles, rate_per_mile: rate }).collect();
        let whole = [Leg { miles: miles.iter().sum(), rate_per_mile: rate }];
        prop_assert_eq!(mileage_amount(&legs).unwrap(), mileage_amount(&whole).unwrap());
    }

    #[test]
    fn applied_and_under_applied_make_the_actual(overhead in money(), base in above_zero(10_000, 1), used in plain(10_000, 1), actual in money()) {
        let settled = OverheadRate::estimated(overhead, base).unwrap().settle(used, actual).unwrap();
        prop_assert_eq!(settled.applied + settled.under_applied, actual);
    }

    #[test]
    fn whole_break_even_units_cover_and_one_fewer_does_not(left in above_zero(10_000_000, 2), cost in money(), fixed in money()) {
        let unit = UnitEconomics { price: cost + left, variable_cost: cost };
        let point = unit.sales_to_cover(fixed).unwrap();
        prop_assert_eq!(unit.contribution().unwrap(), left);
        prop_assert!(point.units * left >= fixed);
        prop_assert!(point.units.is_zero() || (point.units - Decimal::ONE) * left < fixed);
    }

    #[test]
    fn the_lines_of_a_job_sum_to_its_cost(
        revenue in money(), premium in plain(10_000, 5), product in plain(10_000_000, 12), supplies in plain(10_000_000, 9),
        labour in priced(), pads in priced(), machines in priced(), travel in priced(), card in terms(), base in plain(1_000, 2),
    ) {
        let rate = OverheadRate::estimated(Decimal::from(964), Decimal::from(685)).unwrap();
        let card = CardTerms { minor_unit_digits: 2, ..card };
        let facts = JobFacts { net_revenue: revenue, labour_min: &labour, overtime_premium: premium,
            product_cost: product, supply_cost: supplies, pad_cycles: &pads, machine_min: &machines,
            travel: &travel, card: Some((revenue, card)), overhead: Some((rate, base)), minor_unit_digits: 2 };
        let sheet = job_sheet(&facts).unwrap();
        let lines = sheet.lines.named().map(|(_, value)| value);
        prop_assert_eq!(lines.iter().sum::<Decimal>(), sheet.total_cost);
        prop_assert!(lines.iter().all(|line| *line >= Decimal::ZERO));
        prop_assert_eq!(sheet.net_revenue - sheet.total_cost, sheet.margin);
        prop_assert_eq!(sheet.contribution - sheet.lines.overhead, sheet.margin);
        let worked: Decimal = labour.iter().map(|line| line.quantity * line.unit_cost).sum();
        prop_assert!((sheet.lines.labour - worked / Decimal::from(60)).abs() < Decimal::new(2, 2));
    }
}

fn priced() -> impl Strategy<Value = Vec<Priced>> {
    let line = (plain(100_000, 3), plain(100_000, 4));
    vec(line.prop_map(|(quantity, unit_cost)| Priced { quantity, unit_cost }), 0..5)
}
