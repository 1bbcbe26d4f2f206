//! How long the stock room takes: forecasts by backtest for a fleet's item-places, and supplier baskets.
//!
//! Run with `cargo bench -p dropwise-core --bench stock`. Each basket is printed with what was proven.

#![allow(
    missing_docs,
    clippy::unwrap_used,
    reason = "a bench may stop at the first surprise; criterion's macros write no documentation"
)]

#[path = "../tests/laws/stock/market.rs"]
mod market;

use criterion::{Criterion, criterion_group, criterion_main};
use dropwise_core::Decimal;
use dropwise_core::stock::basket::{BasketAnswer, BasketProblem, Effort, cheapest_basket};
use dropwise_core::stock::forecast_choice::choose_forecast;
use dropwise_core::stock::run_out::{BackgroundUse, run_out};
use market::{Dice, market};
use std::hint::black_box;

/// Items times places of a large fleet.
const ITEM_PLACES: u64 = 5_000;

/// Two years of weeks, used in a third of them.
fn two_years(seed: u64) -> Vec<f64> {
    let mut dice = Dice(seed);
    (0..104)
        .map(|_| if dice.chance(35) { f64::from(u32::try_from(dice.roll(1, 9)).unwrap()) } else { 0.0 })
        .collect()
}

fn forecasts(c: &mut Criterion) {
    let series: Vec<Vec<f64>> = (0..ITEM_PLACES).map(two_years).collect();
    c.bench_function("5,000 item-places, method chosen by backtest on 104 weeks", |b| {
        b.iter(|| {
            series.iter().map(|series| choose_forecast(black_box(series)).unwrap().per_period).sum::<f64>()
        });
    });
    let background =
        BackgroundUse { mean_per_day: Decimal::new(25, 1), variance_per_day: Decimal::new(3, 0) };
    c.bench_function("5,000 item-places, run-out over 90 days", |b| {
        b.iter(|| {
            (0..ITEM_PLACES)
                .filter_map(|level| {
                    run_out(level.into(), background, &[], 0.05, 90).unwrap().first_day_at_risk
                })
                .map(u64::from)
                .sum::<u64>()
        });
    });
}

fn baskets(c: &mut Criterion) {
    let mut group = c.benchmark_group("basket");
    group.sample_size(10);
    for (products, suppliers, strain) in [(25, 5, 1), (25, 5, 4), (150, 12, 1), (150, 12, 4)] {
        let problem = market(7, products, suppliers, strain);
        let name = format!("{products} products, {suppliers} suppliers, thresholds times {strain}");
        println!("{name}: {}", said(&problem));
        group.bench_function(name, |b| {
            b.iter(|| cheapest_basket(black_box(&problem), Effort::default()).unwrap());
        });
    }
    group.finish();
}

fn said(problem: &BasketProblem) -> String {
    match cheapest_basket(problem, Effort::default()).unwrap() {
        BasketAnswer::Optimal(basket) => format!("{} proven", basket.total_cost),
        BasketAnswer::WithinGap { basket, proven_bound } => {
            format!("{}, no less than {proven_bound}", basket.total_cost)
        }
        BasketAnswer::Infeasible => "infeasible".to_owned(),
        BasketAnswer::Undecided => "undecided".to_owned(),
    }
}

criterion_group!(benches, forecasts, baskets);
criterion_main!(benches);
