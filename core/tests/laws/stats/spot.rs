//! Laws of a test spot projected onto a car.

use super::any_number;
use super::chance::Chance;
use dropwise_core::stats::test_spot::{Measurement, ProjectionRule, UnitSize, project, sum_stages};
use proptest::collection::vec;
use proptest::prelude::*;

fn measured() -> impl Strategy<Value = Vec<Measurement>> {
    let one = (0.05_f64..2.0, 0.5_f64..60.0).prop_map(|(area_m2, amount)| Measurement { area_m2, amount });
    vec(one, 1..8)
}

proptest! {
    #[test]
    fn the_interval_holds_the_median_and_widens_with_confidence(
        spot in measured(), areas in vec(0.1_f64..3.0, 1..20), sure in 0.1_f64..0.9, surer in 0.001_f64..0.09, c in 0.0_f64..0.5,
    ) {
        let unit = UnitSize { mean: 0.06, relative_sd: c };
        let at = |confidence| project(&spot, &areas, unit, &ProjectionRule { confidence, fallback_log_sd: 0.35 }).unwrap();
        let (one, other) = (at(sure), at(sure + surer));
        prop_assert!(one.lower_total <= one.median_total && one.median_total <= one.upper_total);
        prop_assert!(other.lower_total <= one.lower_total && one.upper_total <= other.upper_total);
        let sections: f64 = one.section_medians.iter().sum();
        prop_assert!((sections / one.median_total - 1.0).abs() < 1e-12);
    }

    #[test]
    fn twice_the_car_takes_twice_as_much(spot in measured(), areas in vec(0.1_f64..3.0, 1..20)) {
        let rule = ProjectionRule { confidence: 0.9, fallback_log_sd: 0.35 };
        let one = project(&spot, &areas, UnitSize::ONE, &rule).unwrap();
        let two = project(&spot, &[areas.clone(), areas].concat(), UnitSize::ONE, &rule).unwrap();
        prop_assert!((two.upper_total / one.upper_total - 2.0).abs() < 1e-12);
        let sum = sum_stages([&one, &one]).unwrap();
        prop_assert!((sum.median / two.median_total - 1.0).abs() < 1e-12);
    }

    #[test]
    fn no_numbers_make_it_panic(x in vec(any_number(), 6), areas in vec(any_number(), 0..4), spot in vec((any_number(), any_number()), 0..4)) {
        let spot: Vec<_> = spot.into_iter().map(|(area_m2, amount)| Measurement { area_m2, amount }).collect();
        let unit = UnitSize { mean: x[0], relative_sd: x[1] };
        if let Ok(found) = project(&spot, &areas, unit, &ProjectionRule { confidence: x[2], fallback_log_sd: x[3] }) {
            prop_assert!(found.median_total.is_finite() && found.upper_total.is_finite());
            let _ = sum_stages([&found, &found]);
        }
    }
}

/// Cars whose sections share one log rate, tests whose sections scatter as the car's rate does.
#[test]
fn nine_in_ten_cars_fall_within_the_interval() {
    const CARS: u32 = 4_000;
    let rule = ProjectionRule { confidence: 0.9, fallback_log_sd: 0.35 };
    let mut chance = Chance::seeded(5);
    let mut held = 0_u32;
    for _ in 0..CARS {
        let spot: Vec<_> = (0..4)
            .map(|_| Measurement { area_m2: 0.25, amount: 0.25 * chance.normal(3.0, 0.2).exp() })
            .collect();
        let car = project(&spot, &[6.0, 4.0], UnitSize::ONE, &rule).unwrap();
        let really = 10.0 * chance.normal(3.0, 0.2).exp();
        held += u32::from(car.lower_total <= really && really <= car.upper_total);
    }
    let share = f64::from(held) / f64::from(CARS);
    println!("{held} of {CARS} cars fall within the interval");
    assert!((0.88..=0.92).contains(&share), "{share}");
}
