//! Laws of pad life.

use super::chance::Chance;
use super::{any_number, lives};
use dropwise_core::CoreError;
use dropwise_core::stats::age_replacement::{SwapCosts, cheapest_age};
use dropwise_core::stats::few_failures::{ShapeInReserve, pad_life};
use dropwise_core::stats::kaplan_meier::kaplan_meier;
use dropwise_core::stats::remaining_life::UsedPad;
use dropwise_core::stats::weibull::Weibull;
use dropwise_core::stats::weibull_fit::fit;
use proptest::collection::vec;
use proptest::prelude::*;

/// The log-likelihood by its definition, term by term.
fn log_likelihood(failures: &[f64], suspensions: &[f64], shape: f64, scale: f64) -> f64 {
    let density = |t: &f64| (shape / scale).ln() + (shape - 1.0) * (t / scale).ln() - (t / scale).powf(shape);
    let survival = |t: &f64| -(t / scale).powf(shape);
    failures.iter().map(density).sum::<f64>() + suspensions.iter().map(survival).sum::<f64>()
}

/// Pads of a known distribution, watched until a fixed age: (failures, suspensions).
fn watched(n: usize, shape: f64, scale: f64, until: f64, seed: u8) -> (Vec<f64>, Vec<f64>) {
    let mut chance = Chance::seeded(seed);
    let (mut failures, mut suspensions) = (Vec::new(), Vec::new());
    for _ in 0..n {
        let life = chance.weibull(shape, scale);
        if life <= until { failures.push(life) } else { suspensions.push(until) }
    }
    (failures, suspensions)
}

proptest! {
    #[test]
    fn no_other_parameters_are_more_likely(failed in lives(30), left in lives(30), d in -0.2_f64..0.2, e in -0.2_f64..0.2) {
        if let Ok(found) = fit(&failed, &left) {
            let (b, eta) = (found.weibull.shape(), found.weibull.scale());
            let best = log_likelihood(&failed, &left, b, eta);
            prop_assert!((best - found.log_likelihood).abs() <= 1e-9 * best.abs().max(1.0));
            let other = log_likelihood(&failed, &left, b * d.exp(), eta * (e / b).exp());
            prop_assert!(other <= best + 1e-9 * best.abs().max(1.0), "{other} beats {best}");
        }
    }

    #[test]
    fn a_fit_is_refused_only_for_a_reason(failed in lives(30), left in lives(30)) {
        let longest = failed.iter().chain(&left).copied().fold(0.0, f64::max);
        let solvable = failed.len() >= 3 && failed.iter().any(|t| *t < longest);
        prop_assert_eq!(fit(&failed, &left).is_ok(), solvable);
    }

    #[test]
    fn the_unit_of_use_does_not_matter(failed in lives(30), left in lives(30), unit in 1e-6_f64..1e6) {
        if let Ok(found) = fit(&failed, &left) {
            let scaled = |times: &[f64]| times.iter().map(|t| t * unit).collect::<Vec<_>>();
            let other = fit(&scaled(&failed), &scaled(&left)).unwrap();
            prop_assert!((other.weibull.shape() / found.weibull.shape() - 1.0).abs() < 1e-9);
            prop_assert!((other.weibull.scale() / found.weibull.scale() / unit - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_pad_still_in_service_never_shortens_a_fixed_shape_life(failed in lives(3), left in lives(9), more in 1.0_f64..100.0) {
        let reserve = ShapeInReserve { fixed_shape: 2.0, min_failures_for_fit: 3, lower_bound_confidence: 0.9 };
        if let Ok(life) = pad_life(&failed, &left, &reserve) {
            let longer = pad_life(&failed, &[left, vec![more]].concat(), &reserve).unwrap();
            prop_assert!(longer.weibull.scale() >= life.weibull.scale() * (1.0 - 1e-12));
            prop_assert!(longer.scale_lower_bound >= life.scale_lower_bound * (1.0 - 1e-12));
        }
    }

    #[test]
    fn the_curve_falls_from_one_towards_zero(failed in lives(60), left in lives(60), confidence in 0.01_f64..0.999) {
        if let Ok(curve) = kaplan_meier(&failed, &left, confidence) {
            prop_assert_eq!(curve.points.iter().map(|p| p.events).sum::<usize>(), failed.len());
            let mut last = (0.0, 1.0, usize::MAX);
            for point in &curve.points {
                prop_assert!(point.time > last.0 && point.survival < last.1 && point.at_risk < last.2);
                prop_assert!((0.0..=1.0).contains(&point.survival));
                prop_assert_eq!(point.spread.is_none(), point.survival == 0.0);
                for [low, high] in point.spread.into_iter().flat_map(|s| [s.plain, s.log_log]) {
                    prop_assert!(0.0 <= low && low <= point.survival && point.survival <= high && high <= 1.0);
                }
                last = (point.time, point.survival, point.at_risk);
            }
        }
    }

    #[test]
    fn with_every_pad_failed_the_curve_counts(failed in lives(60)) {
        prop_assume!(!failed.is_empty());
        let n = f64::from(u32::try_from(failed.len()).unwrap());
        for point in kaplan_meier(&failed, &[], 0.9).unwrap().points {
            let longer = u32::try_from(failed.iter().filter(|t| **t > point.time).count()).unwrap();
            prop_assert!((point.survival - f64::from(longer) / n).abs() < 1e-12);
        }
    }

    #[test]
    fn what_is_left_of_a_pad_is_never_negative(
        shape in 0.2_f64..20.0, scale in 0.01_f64..1e4, age in 0.0_f64..3.0, use_to_come in 0.0_f64..3.0, p in 0.001_f64..0.999,
    ) {
        let pad = UsedPad::try_new(Weibull::try_new(shape, scale).unwrap(), age * scale).unwrap();
        let survives = pad.survives(use_to_come * scale).unwrap();
        prop_assert!((0.0..=1.0).contains(&survives));
        prop_assert!(pad.survives(2.0 * use_to_come * scale).unwrap() <= survives);
        prop_assert!(pad.mean_residual_life().unwrap() >= 0.0);
        let sure = pad.extra_use_survived_by(p).unwrap();
        prop_assert!(sure >= 0.0);
        // Asked back, the use survived with probability p is survived with probability p.
        let back = pad.survives(sure).unwrap();
        prop_assert!((back - p).abs() < 1e-9, "{back} for {p}");
    }

    #[test]
    fn a_pad_that_wears_has_less_left_the_older_it_is(shape in 1.01_f64..20.0, age in 0.0_f64..2.0, older in 0.01_f64..2.0) {
        let weibull = Weibull::try_new(shape, 50.0).unwrap();
        let left = |age: f64| UsedPad::try_new(weibull, 50.0 * age).unwrap().mean_residual_life().unwrap();
        prop_assert!(left(age + older) <= left(age) * (1.0 + 1e-9));
    }

    #[test]
    fn the_mean_left_is_the_area_under_the_chances_left(shape in 0.5_f64..8.0, age in 0.0_f64..2.5) {
        let pad = UsedPad::try_new(Weibull::try_new(shape, 1.0).unwrap(), age).unwrap();
        // s = v^2 / (1 - v) takes 0..1 to 0..infinity; the midpoint rule meets no end.
        let cells = 20_000;
        let width = 1.0 / f64::from(cells);
        let area: f64 = (0..cells).map(|i| {
            let v = (f64::from(i) + 0.5) * width;
            pad.survives(v * v / (1.0 - v)).unwrap() * v * (2.0 - v) / (1.0 - v).powi(2) * width
        }).sum();
        let mean = pad.mean_residual_life().unwrap();
        prop_assert!((area / mean - 1.0).abs() < 1e-4, "{area} against {mean}");
    }

    #[test]
    fn no_age_is_cheaper_than_the_cheapest(shape in 1.05_f64..12.0, planned in 1.0_f64..50.0, more in 0.5_f64..200.0, other in 0.2_f64..5.0) {
        let weibull = Weibull::try_new(shape, 60.0).unwrap();
        let failure = planned + more;
        let plan = cheapest_age(weibull, SwapCosts { planned, on_job_failure: failure }).unwrap();
        let best = plan.optimum.unwrap();
        prop_assert!(best.cost_rate <= plan.cost_rate_run_to_failure * (1.0 + 1e-9));
        let rate = |age: f64| {
            let cells = 4_000;
            let width = age / f64::from(cells);
            let in_service: f64 = (0..cells).map(|i| weibull.survival((f64::from(i) + 0.5) * width).unwrap() * width).sum();
            let survive = weibull.survival(age).unwrap();
            (planned * survive + failure * (1.0 - survive)) / in_service
        };
        // Far beyond every life the age no longer matters, and the sum over cells gets coarse.
        if best.age < 60.0 * 4.0 {
            prop_assert!((rate(best.age) / best.cost_rate - 1.0).abs() < 1e-4);
            prop_assert!(rate(best.age * other) >= best.cost_rate * (1.0 - 1e-4));
        }
    }

    #[test]
    fn no_numbers_make_it_panic(failed in vec(any_number(), 0..8), left in vec(any_number(), 0..8), x in vec(any_number(), 6)) {
        let found = fit(&failed, &left);
        if let Ok(found) = &found {
            prop_assert!(found.weibull.shape() > 0.0 && found.weibull.scale() > 0.0 && found.log_likelihood.is_finite());
            let _ = (found.shape_interval(x[0]), found.life_interval(x[1], x[0]), found.life_lower_bound(x[1], x[0]));
        }
        let reserve = ShapeInReserve { fixed_shape: x[0], min_failures_for_fit: 3, lower_bound_confidence: x[1] };
        let _ = pad_life(&failed, &left, &reserve);
        let _ = kaplan_meier(&failed, &left, x[2]);
        if let Ok(weibull) = Weibull::try_new(x[0], x[1]) {
            let _ = (weibull.mean_life(), weibull.median_life(), weibull.survival(x[2]));
            if let Ok(plan) = cheapest_age(weibull, SwapCosts { planned: x[3], on_job_failure: x[4] }) {
                prop_assert!((0.0..=1.0).contains(&plan.saving_fraction));
            }
            if let Ok(pad) = UsedPad::try_new(weibull, x[2]) {
                if let Ok(chance) = pad.survives(x[3]) { prop_assert!((0.0..=1.0).contains(&chance)); }
                if let Ok(mean) = pad.mean_residual_life() { prop_assert!(mean >= 0.0 && mean.is_finite()); }
                if let Ok(sure) = pad.extra_use_survived_by(x[4]) { prop_assert!(sure >= 0.0 && sure.is_finite()); }
            }
        }
    }
}

/// More pads, closer parameters: the mean error over 20 fleets falls as the fleet grows, and ends small.
#[test]
fn more_pads_bring_the_fit_closer_to_the_truth() {
    let mean_error = |n: usize| {
        let errors = (0..20).map(|seed| {
            let (failures, suspensions) = watched(n, 2.4, 60.0, 55.0, seed);
            let found = fit(&failures, &suspensions).unwrap();
            (found.weibull.shape() / 2.4).ln().abs() + (found.weibull.scale() / 60.0).ln().abs()
        });
        errors.sum::<f64>() / 20.0
    };
    let errors: Vec<f64> = [50, 500, 5_000].into_iter().map(mean_error).collect();
    println!("mean error with 50, 500 and 5,000 pads: {errors:?}");
    assert!(errors[1] < errors[0] / 2.0 && errors[2] < errors[1] / 2.0, "{errors:?}");
    assert!(errors[2] < 0.03, "{errors:?}");
}

#[test]
fn fifty_thousand_pads_nine_in_ten_still_in_service_are_fitted() {
    let until = 60.0 * (-0.9_f64.ln()).powf(1.0 / 2.4); // the age one pad in ten has failed by
    let (failures, suspensions) = watched(50_000, 2.4, 60.0, until, 3);
    assert!((4_500..5_500).contains(&failures.len()));
    let found = fit(&failures, &suspensions).unwrap();
    // Within four standard errors of the truth, and those errors small.
    assert!(
        (found.shape.mean() - 2.4).abs() < 4.0 * found.shape.sd() && found.shape.sd() < 0.05,
        "{found:?}"
    );
    assert!(
        (found.scale.mean() - 60.0).abs() < 4.0 * found.scale.sd() && found.scale.sd() < 2.0,
        "{found:?}"
    );
    assert!(found.iterations < 20, "{found:?}");
}

#[test]
fn the_intervals_of_a_fit_hold_the_truth_as_often_as_they_say() {
    let held = (0..=255_u8)
        .filter(|seed| {
            let (failures, suspensions) = watched(200, 2.4, 60.0, 55.0, *seed);
            let [low, high] = fit(&failures, &suspensions).unwrap().shape_interval(0.9).unwrap();
            low <= 2.4 && 2.4 <= high
        })
        .count();
    assert!((218..=243).contains(&held), "{held} of 256"); // 85 to 95 in 100
}

#[test]
fn degenerate_lives_are_answered_or_refused_by_name() {
    let code = |failures: &[f64], suspensions: &[f64]| fit(failures, suspensions).map_err(|e| e.code());
    assert_eq!(code(&[], &[]).unwrap_err(), "not_enough_data");
    assert_eq!(code(&[5.0, 9.0], &[4.0]).unwrap_err(), "not_enough_data");
    assert_eq!(code(&[0.0, 0.0, 0.0], &[]).unwrap_err(), "invalid_input");
    assert_eq!(code(&[7.0, 7.0, 7.0], &[7.0]).unwrap_err(), "invalid_input");
    assert_eq!(code(&[1.0, 2.0, f64::NAN], &[]).unwrap_err(), "invalid_input");
    // A pad just put in service changes nothing; one huge spike is answered with a low shape.
    let plain = fit(&[3.0, 5.0, 8.0], &[9.0]).unwrap().weibull;
    assert_eq!(fit(&[3.0, 5.0, 8.0], &[9.0, 0.0]).unwrap().weibull, plain);
    assert!(fit(&[3.0, 5.0, 8.0, 1e12], &[]).unwrap().weibull.shape() < 0.2);
    // Equal failures are fitted as soon as some pad outlived them.
    assert!(fit(&[7.0, 7.0, 7.0], &[8.0]).is_ok());
    let reserve = ShapeInReserve { fixed_shape: 2.0, min_failures_for_fit: 3, lower_bound_confidence: 0.9 };
    assert_eq!(pad_life(&[], &[0.0, 0.0], &reserve).unwrap_err().code(), "invalid_input");
    assert!(matches!(pad_life(&[], &[], &reserve), Err(CoreError::NotEnough { .. })));
    assert!(pad_life(&[7.0; 3], &[], &reserve).unwrap().fit.is_none());
    assert!(pad_life(&[7.0, 8.0, 9.0], &[], &reserve).unwrap().fit.is_some());
}
