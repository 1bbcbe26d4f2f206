//! How long the estimators take on the largest data a fleet has. Against the libraries they are checked
//! with: `tests/independent_route/check.py --speed`.

#![allow(
    missing_docs,
    clippy::unwrap_used,
    reason = "the macros of the harness make undocumented items; a bench may stop at the first surprise"
)]

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use dropwise_core::stats::Estimate;
use dropwise_core::stats::age_replacement::{SwapCosts, cheapest_age};
use dropwise_core::stats::bottle::{Bottle, BottleNoise, BottleState};
use dropwise_core::stats::drop_size::expect_of_new_bottle;
use dropwise_core::stats::kaplan_meier::kaplan_meier;
use dropwise_core::stats::weibull::Weibull;
use dropwise_core::stats::weibull_fit::fit;
use std::hint::black_box;

/// Pads spread evenly over the quantiles of a distribution, one in ten seen to its end.
fn pads(n: u32) -> (Vec<f64>, Vec<f64>) {
    let weibull = Weibull::try_new(2.4, 60.0).unwrap();
    let limit = weibull.b10_life().unwrap();
    let life = |i: u32| weibull.age_survived_by((f64::from(i) + 0.5) / f64::from(n)).unwrap();
    let (failures, longer): (Vec<f64>, Vec<f64>) = (0..n).map(life).partition(|life| *life <= limit);
    (failures, vec![limit; longer.len()])
}

/// A year of one busy bottle: 5,000 uses, weighed after every twentieth.
fn bottle_year() -> BottleState {
    let bottle = Bottle { nominal_ml: 1000.0, tare_g: 40.0, density_g_per_ml: 1.0 };
    let noise = BottleNoise::default();
    let full = Estimate::try_new(1000.0, 5.0).unwrap();
    let mut state = BottleState::start(full, Estimate::try_new(0.05, 0.02).unwrap()).unwrap();
    for use_number in 1..=5_000_u32 {
        state = state.after_drops(3, &noise).unwrap();
        if use_number % 20 == 0 {
            let left = 1000.0 - 0.15 * f64::from(use_number);
            state = state.after_weigh_in(40.0 + left, &bottle, &noise).unwrap().state;
        }
    }
    state
}

fn stats(criterion: &mut Criterion) {
    let (failures, suspensions) = pads(50_000);
    criterion.bench_function("weibull fit, 50,000 pads, 90 % in service", |bencher| {
        bencher.iter(|| fit(black_box(&failures), black_box(&suspensions)).unwrap());
    });
    criterion.bench_function("Kaplan-Meier, 50,000 pads, 90 % in service", |bencher| {
        bencher.iter(|| kaplan_meier(black_box(&failures), black_box(&suspensions), 0.9).unwrap());
    });
    criterion.bench_function("bottle filter, 5,250 events", |bencher| bencher.iter(bottle_year));
    criterion.bench_function("cheapest age to swap a pad", |bencher| {
        let weibull = Weibull::try_new(2.4, 60.0).unwrap();
        let costs = SwapCosts { planned: 14.0, on_job_failure: 75.0 };
        bencher.iter(|| cheapest_age(black_box(weibull), costs).unwrap());
    });
    let prior = Estimate::try_new(0.05, 0.02).unwrap();
    criterion.bench_function("pooled drop size, 2,000 bottles", |bencher| {
        let bottles: Vec<_> = (0..2_000_u32)
            .map(|i| Estimate::try_new(0.05 + 1e-5 * f64::from(i % 100), 0.004).unwrap())
            .collect();
        bencher.iter_batched_ref(
            || bottles.clone(),
            |bottles| expect_of_new_bottle(prior, 0.008, bottles).unwrap(),
            BatchSize::SmallInput,
        );
    });
}

criterion_group!(benches, stats);
criterion_main!(benches);
