//! Any decimals at all, also at the ends of the range, give an answer or a refusal, never a panic.

use super::any_decimal;
use dropwise_core::Decimal;
use dropwise_core::exact::break_even::{MixLine, UnitEconomics, profit_before_tax};
use dropwise_core::exact::card_fee::CardTerms;
use dropwise_core::exact::cost_variances::{Actual, Paid, Standard, cost_variances};
use dropwise_core::exact::depreciation::Asset;
use dropwise_core::exact::dilution::Dilution;
use dropwise_core::exact::job_sheet::{JobFacts, Priced, job_sheet};
use dropwise_core::exact::margin_bridge::{MaterialUse, Month, ServiceCard, bridge};
use dropwise_core::exact::mileage::{Leg, mileage_amount};
use dropwise_core::exact::overhead::OverheadRate;
use dropwise_core::exact::overtime::{HoursAtRate, OvertimeRule, Week, week_pay};
use dropwise_core::exact::pad_cost::PadAccount;
use dropwise_core::exact::payroll::{EmployerTax, YearOfWork, burdened_hour, employer_tax};
use dropwise_core::exact::rounding::{Ties, round};
use dropwise_core::exact::sales_variances::{Market, Prices, ProductSales, sales_variances};
use dropwise_core::exact::shares::round_parts;
use dropwise_core::exact::stock_average::AverageStock;
use dropwise_core::exact::stock_fifo::FifoStock;
use dropwise_core::exact::stock_lot::Shortfall;
use dropwise_core::exact::target_price::price_for_margin;
use dropwise_core::units::conversion::{Unit, convert};
use dropwise_core::units::currency::Currency;
use proptest::array::uniform8;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::select;

proptest! {
    #[test]
    fn amounts(values in uniform8(any_decimal()), places in any::<i32>(), digits in any::<u32>(), from in select(Unit::ALL), to in select(Unit::ALL)) {
        let [a, b, c, d, ..] = values;
        let _ = round(a, places, Ties::HalfUp);
        let _ = round(a, places.rem_euclid(60) - 30, Ties::HalfEven);
        let _ = round_parts(&values, digits % 40);
        let _ = convert(a, from, to);
        let _ = Currency::from_code("CLF").unwrap().minor_units(a);
        let _ = (Dilution { product_parts: a, water_parts: b }).cost(c, d, a);
        let _ = (Dilution { product_parts: a, water_parts: b }).batch(c);
        let _ = (CardTerms { fee_fraction: a, fee_fixed: b, minor_unit_digits: digits % 40 }).charge_for(c);
        let card = CardTerms { fee_fraction: a, fee_fixed: b, minor_unit_digits: digits };
        let _ = price_for_margin(c, d, card);
    }

    #[test]
    fn pay_and_cost(values in uniform8(any_decimal()), years in any::<u32>(), months in any::<u32>()) {
        let [a, b, c, d, e, f, g, h] = values;
        let week = Week { work: &[HoursAtRate { hours: a, hourly_rate: b }], piece_rate_earnings: c,
            piece_rate_hours: d, bonus: e, guaranteed_hourly_rate: Some(f) };
        let _ = week_pay(&week, OvertimeRule { threshold_hours: g, multiplier: h });
        let _ = employer_tax(EmployerTax { rate: a, yearly_wage_base: Some(b) }, c, d);
        let _ = burdened_hour(&YearOfWork { annual_wages: a, annual_employer_taxes: b,
            annual_other_employer_costs: c, paid_hours: d, paid_non_productive_hours: e, utilisation: f });
        let _ = mileage_amount(&[Leg { miles: a, rate_per_mile: b }, Leg { miles: c, rate_per_mile: d }]);
        let asset = Asset { cost: a, salvage_value: b, minor_unit_digits: years % 40 };
        let _ = asset.straight_line(years % 120, months % 14);
        let _ = asset.units_of_production(c, &[d, e, f]);
        let _ = OverheadRate::estimated(a, b).and_then(|rate| rate.settle(c, d));
        let unit = UnitEconomics { price: a, variable_cost: b };
        let _ = unit.sales_to_cover(c);
        let _ = unit.sold(c, d);
        let _ = UnitEconomics::composite(&[MixLine { mix_units: e, unit }, MixLine { mix_units: f, unit }]);
        let _ = profit_before_tax(a, b);
        let _ = (PadAccount { cost: a, salvage_value: b, expected_cycles: years, charged: c }).cycle_charge(months);
        let lines = [Priced { quantity: a, unit_cost: b }, Priced { quantity: c, unit_cost: d }];
        let terms = CardTerms { fee_fraction: c, fee_fixed: d, minor_unit_digits: 2 };
        let _ = job_sheet(&JobFacts { net_revenue: a, labour_min: &lines, overtime_premium: e, product_cost: f,
            supply_cost: g, pad_cycles: &lines, machine_min: &lines, travel: &lines, card: Some((b, terms)),
            overhead: OverheadRate::per_base_unit(d).ok().map(|rate| (rate, c)), minor_unit_digits: years % 40 });
    }

    #[test]
    fn months(values in uniform8(any_decimal()), digits in 0..40_u32) {
        let [a, b, c, d, e, f, g, h] = values;
        let month = |jobs: Decimal, price: Decimal| {
            let used = MaterialUse { usage: c, price: d };
            let card = ServiceCard { jobs, price, materials: [("m".to_owned(), used)].into(), labour_hours: e, labour_rate: f };
            Month { other_costs: a, services: [("s".to_owned(), card)].into() }
        };
        let _ = bridge(&month(a, b), &month(g, h), digits);
        let _ = cost_variances(Actual { quantity: a, paid: Paid::InAll(b), purchased_quantity: Some(c) }, Standard { quantity: d, price: e });
        let product = ProductSales { budget_units: a, actual_units: b, budget_contribution_per_unit: c,
            prices: Some(Prices { budget: d, actual: e }) };
        let _ = sales_variances(&[product, product], Some(Market { budget_units: f, actual_units: g }));
    }

    #[test]
    fn stock(values in vec((any_decimal(), any_decimal(), 0..5_u8), 1..12)) {
        let (mut averaged, mut layered) = (AverageStock::EMPTY, FifoStock::default());
        let mut issues = Vec::new();
        for (key, (quantity, value, what)) in values.into_iter().enumerate() {
            let moved = match what {
                0 | 1 => averaged.receive(quantity, value),
                2 => averaged.issue(quantity, Shortfall::Allow),
                3 => averaged.adjust(quantity),
                _ => averaged.send_back(quantity, value),
            };
            averaged = moved.map_or(averaged, |(after, _)| after);
            let _ = match what {
                0 | 1 => layered.receive(key, quantity, value).is_ok(),
                2 => layered.issue(quantity, Shortfall::Allow).map(|issue| issues.push(issue)).is_ok(),
                3 => issues.last_mut().is_some_and(|issue| layered.give_back(issue, quantity, &key).is_ok()),
                _ => layered.send_back(&0, quantity).is_ok(),
            };
            let _ = (averaged.unit_cost(), layered.find(key, quantity));
        }
    }
}
