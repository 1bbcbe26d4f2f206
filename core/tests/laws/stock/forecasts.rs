//! Forecasts follow what they are given, and say so when that is little.

use crate::stats::any_number;
use dropwise_core::stock::demand_class::measure;
use dropwise_core::stock::forecast_choice::{
    ForecastBasis, ForecastMethod, SHORTEST_BACKTEST, choose_forecast,
};
use dropwise_core::stock::forecast_errors::{forecast_errors, rolling_origin};
use dropwise_core::stock::intermittent::{IntermittentWeights, forecast_intermittent};
use dropwise_core::stock::series::SeriesShape;
use dropwise_core::stock::smoothing::{LevelStart, smooth};
use dropwise_core::stock::trend::{TrendStart, follow_trend};
use proptest::collection::vec;
use proptest::prelude::*;

fn weights(alpha: f64) -> IntermittentWeights {
    IntermittentWeights { alpha, alpha_demand: alpha, alpha_probability: alpha }
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * b.abs().max(1.0)
}

proptest! {
    #[test]
    fn what_never_changes_is_forecast_to_stay(
        level in 0.01_f64..1e6,
        periods in 4_usize..60,
        alpha in 0.0_f64..=1.0,
        beta in 0.0_f64..=1.0,
    ) {
        let series = vec![level; periods];
        prop_assert!(close(smooth(&series, alpha, LevelStart::FirstObservation).unwrap().level, level));
        let intermittent = forecast_intermittent(&series, weights(alpha)).unwrap();
        prop_assert!(close(intermittent.croston, level));
        prop_assert!(close(intermittent.teunter_syntetos_babai, level));
        // The approximation corrects for intervals that vary; here it stays below by its own factor.
        prop_assert!(close(intermittent.syntetos_boylan, (1.0 - alpha / 2.0) * level));
        for start in [TrendStart::FirstTwoObservations, TrendStart::MeanOfFirstThreeDifferences] {
            let trended = follow_trend(&series, alpha, beta, start, 3).unwrap();
            prop_assert!(trended.forecasts.iter().all(|forecast| close(*forecast, level)));
        }
    }

    #[test]
    fn forecasts_stay_within_what_was_seen(
        series in vec(0.0_f64..1e4, 1..60),
        alpha in 0.0_f64..=1.0,
    ) {
        let (least, most) = series.iter().fold((f64::MAX, 0.0_f64), |(a, b), y| (a.min(*y), b.max(*y)));
        let level = smooth(&series, alpha, LevelStart::FirstObservation).unwrap().level;
        prop_assert!((least - 1e-9..=most + 1e-9).contains(&level));
        let forecast = forecast_intermittent(&series, weights(alpha)).unwrap();
        for value in [forecast.croston, forecast.syntetos_boylan, forecast.teunter_syntetos_babai] {
            prop_assert!((0.0..=most + 1e-9).contains(&value));
        }
    }

    #[test]
    fn demand_twice_as_large_is_forecast_twice_as_large(
        series in vec(0.0_f64..1e4, 1..60),
        alpha in 0.0_f64..=1.0,
    ) {
        let doubled: Vec<f64> = series.iter().map(|y| 2.0 * y).collect();
        let (one, two) =
            (forecast_intermittent(&series, weights(alpha)), forecast_intermittent(&doubled, weights(alpha)));
        prop_assert!(close(two.unwrap().croston, 2.0 * one.unwrap().croston));
        prop_assert_eq!(measure(&doubled).unwrap(), measure(&series).unwrap());
    }

    #[test]
    fn a_backtest_is_the_one_step_forecasts(series in vec(0.0_f64..1e4, 3..40), alpha in 0.0_f64..=1.0) {
        let first = series.len() / 2;
        let model = |seen: &[f64]| Ok(smooth(seen, alpha, LevelStart::FirstObservation)?.level);
        let backtest = rolling_origin(&series, first, 1, model).unwrap();
        let once = smooth(&series, alpha, LevelStart::FirstObservation).unwrap().one_step_forecasts;
        let tail: Vec<f64> = once.into_iter().skip(first).flatten().collect();
        prop_assert_eq!(backtest.forecasts, tail);
    }

    #[test]
    fn root_mean_square_is_at_least_mean_absolute(pairs in vec((0.0_f64..1e4, 0.0_f64..1e4), 1..40)) {
        let (actual, forecast): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
        let errors = forecast_errors(&actual, &forecast).unwrap();
        prop_assert!(errors.root_mean_squared_error >= errors.mean_absolute_error - 1e-9);
        prop_assert!(errors.mean_absolute_error >= errors.mean_error.abs() - 1e-9);
    }

    #[test]
    fn any_series_is_answered_or_refused(
        series in vec(any_number(), 0..12),
        alpha in any_number(),
        beta in any_number(),
        horizon in 0_u32..600,
    ) {
        let shape = SeriesShape::of(&series);
        prop_assert_eq!(shape.caution().is_none(), shape == SeriesShape::Ordinary);
        let _ = measure(&series);
        let _ = smooth(&series, alpha, LevelStart::Given(beta));
        let _ = forecast_errors(&series, &series);
        for start in [
            TrendStart::FirstTwoObservations,
            TrendStart::MeanOfFirstThreeDifferences,
            TrendStart::Given { level: alpha, trend: beta },
        ] {
            if let Ok(trended) = follow_trend(&series, alpha, beta, start, horizon) {
                prop_assert!(trended.forecasts.iter().all(|forecast| forecast.is_finite()));
            }
        }
        if let Ok(forecast) = forecast_intermittent(&series, weights(alpha)) {
            prop_assert!(forecast.croston.is_finite() && forecast.teunter_syntetos_babai.is_finite());
        }
    }
}

#[test]
fn little_is_said_to_be_little() {
    for (series, shape) in [
        (vec![0.0; 9], SeriesShape::NoDemand),
        (vec![4.0], SeriesShape::OneObservation),
        (vec![0.0, 0.0, 6.0, 0.0], SeriesShape::OneDemand),
        (vec![1.0, 2.0, 1e9, 1.0], SeriesShape::OneSpike),
        (vec![3.0, 4.0, 5.0], SeriesShape::Ordinary),
    ] {
        assert_eq!(SeriesShape::of(&series), shape);
        let forecast = forecast_intermittent(&series, weights(0.1)).unwrap();
        assert!(forecast.croston.is_finite());
        assert_eq!(forecast.croston == 0.0, shape == SeriesShape::NoDemand);
    }
}

proptest! {
    #[test]
    fn the_last_quarter_never_bears_on_the_choice(
        series in vec(0.0_f64..100.0, 16..80),
        other in vec(0.0_f64..100.0, 20),
    ) {
        let last = series.len() * 3 / 4;
        let mut changed = series.clone();
        for (y, other) in changed.iter_mut().skip(last).zip(&other) {
            *y = *other;
        }
        let (one, two) = (choose_forecast(&series).unwrap(), choose_forecast(&changed).unwrap());
        if one.basis == ForecastBasis::Backtest && two.basis == ForecastBasis::Backtest {
            prop_assert_eq!((one.method, one.alpha), (two.method, two.alpha));
        }
        let chosen = one.candidates.iter().find(|candidate| candidate.method == one.method).unwrap();
        prop_assert!(one.candidates.iter().all(|candidate| candidate.compared >= chosen.compared));
    }

    #[test]
    fn the_choice_forecasts_as_its_method_alone_does(series in vec(0_u32..4, 1..80)) {
        let series: Vec<f64> = series.into_iter().map(|y| f64::from(y.saturating_sub(2))).collect();
        let choice = choose_forecast(&series).unwrap();
        let alone = forecast_intermittent(&series, weights(choice.alpha)).unwrap();
        let expected = match choice.method {
            ForecastMethod::Smoothing => smooth(&series, choice.alpha, LevelStart::FirstObservation).unwrap().level,
            ForecastMethod::Croston => alone.croston,
            ForecastMethod::SyntetosBoylan => alone.syntetos_boylan,
            ForecastMethod::TeunterSyntetosBabai => alone.teunter_syntetos_babai,
        };
        prop_assert!(close(choice.per_period, expected));
        let backtest = series.len() >= SHORTEST_BACKTEST && series.iter().any(|y| *y > 0.0);
        prop_assert_eq!(choice.basis == ForecastBasis::Backtest, backtest);
    }

    #[test]
    fn any_series_gets_a_choice_or_a_refusal(series in vec(any_number(), 0..40)) {
        if let Ok(choice) = choose_forecast(&series) {
            prop_assert!(choice.per_period.is_finite());
        }
    }
}
