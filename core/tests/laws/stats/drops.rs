//! Laws of pooled drop sizes, drop weights and drop counts.

use super::any_number;
use super::chance::Chance;
use dropwise_core::stats::Estimate;
use dropwise_core::stats::bottle::{Bottle, BottleNoise, BottleState};
use dropwise_core::stats::drop_size::{between_bottles, expect_of_new_bottle, own_evidence, pool};
use dropwise_core::stats::drop_weight::{detached_fraction, ideal_drop, within_compendial_range};
use dropwise_core::units::drops::volume_ml;
use dropwise_core::{CoreError, Decimal};
use proptest::collection::vec;
use proptest::prelude::*;

fn bottles() -> impl Strategy<Value = Vec<Estimate>> {
    let bottle =
        (0.01_f64..0.3, 0.0005_f64..0.05).prop_map(|(mean, sd)| Estimate::try_new(mean, sd).unwrap());
    vec(bottle, 0..20)
}

proptest! {
    #[test]
    fn a_bottle_is_pulled_towards_its_group_never_past_it(bottles in bottles(), between in 0.0_f64..0.05) {
        let pooled = pool(Estimate::try_new(0.05, 0.02).unwrap(), between, &bottles).unwrap();
        for (own, pulled) in bottles.iter().zip(&pooled.bottles) {
            let (low, high) = (own.mean().min(pooled.group.mean()), own.mean().max(pooled.group.mean()));
            prop_assert!(low - 1e-15 <= pulled.mean() && pulled.mean() <= high + 1e-15);
            prop_assert!(pulled.sd() <= own.sd() * (1.0 + 1e-12));
        }
        prop_assert!(pooled.new_bottle.sd() >= pooled.group.sd());
    }

    #[test]
    fn one_more_bottle_never_makes_the_group_less_certain(bottles in bottles(), between in 0.0_f64..0.05) {
        let prior = Estimate::try_new(0.05, 0.02).unwrap();
        let mut spread = prior.sd() * (1.0 + 1e-12);
        for n in 0..=bottles.len() {
            let pooled = pool(prior, between, &bottles[..n]).unwrap();
            prop_assert!(pooled.group.sd() <= spread);
            spread = pooled.group.sd() * (1.0 + 1e-12);
        }
    }

    #[test]
    fn their_order_does_not_matter(bottles in bottles(), between in 0.0_f64..0.05) {
        let prior = Estimate::try_new(0.05, 0.02).unwrap();
        let reversed: Vec<_> = bottles.iter().rev().copied().collect();
        let (one, other) = (pool(prior, between, &bottles).unwrap(), pool(prior, between, &reversed).unwrap());
        prop_assert!((one.group.mean() - other.group.mean()).abs() <= 1e-12 * one.group.mean().abs());
    }

    #[test]
    fn a_bottle_pooled_by_its_own_evidence_is_heard_once(drops in 50_u32..4_000, gross in 180.0_f64..282.0, start in 0.02_f64..0.1) {
        // One bottle, no drift: the group of that bottle alone believes what the bottle itself does.
        let noise = BottleNoise { drift_sd_ml_per_use: 0.0, flag_sigma: f64::INFINITY, ..BottleNoise::default() };
        let bottle = Bottle { nominal_ml: 250.0, tare_g: 32.0, density_g_per_ml: 1.0 };
        let prior = Estimate::try_new(start, 0.4 * start).unwrap();
        let state = BottleState::start(Estimate::try_new(250.0, 1.0).unwrap(), prior).unwrap();
        let state = state.after_drops(drops, &noise).unwrap().after_weigh_in(gross, &bottle, &noise).unwrap().state;
        let filtered = Estimate::try_new(state.mean()[1], state.sd()[1]).unwrap();
        let own = own_evidence(prior, filtered).unwrap().unwrap();
        let group = pool(prior, 0.0, &[own]).unwrap().group;
        prop_assert!((group.mean() - filtered.mean()).abs() <= 1e-9 * filtered.mean().abs());
        prop_assert!((group.sd() / filtered.sd() - 1.0).abs() <= 1e-9);
        prop_assert!(pool(prior, 0.0, &[filtered]).unwrap().group.sd() < group.sd());
    }

    #[test]
    fn no_numbers_make_it_panic(x in vec(any_number(), 12)) {
        let bottles: Vec<_> = x.chunks(2).filter_map(|pair| Estimate::try_new(pair[0], pair[1]).ok()).collect();
        if let Ok(found) = between_bottles(&bottles) {
            prop_assert!(found.between_variance >= 0.0 && found.between_variance.is_finite());
        }
        for pair in bottles.windows(2) {
            if let Ok(Some(own)) = own_evidence(pair[0], pair[1]) {
                prop_assert!(own.mean().is_finite() && own.sd() > 0.0);
            }
        }
        for prior in &bottles {
            if let Ok(new) = expect_of_new_bottle(*prior, x[0], &bottles) {
                prop_assert!(new.mean().is_finite() && new.sd() >= 0.0);
            }
        }
        if let Ok(drop) = ideal_drop(x[0], x[1], x[2], x[3]) {
            prop_assert!(drop.mass_mg > 0.0 && drop.volume_ul > 0.0);
            let _ = detached_fraction(x[4], &drop);
        }
        let _ = within_compendial_range(x[5]);
    }

    #[test]
    fn drops_multiply_or_say_that_they_do_not_fit(drops in any::<u64>(), digits in 1_i64.., scale in 0_u32..28) {
        match volume_ml(drops, Decimal::new(digits, scale)) {
            Ok(volume) => prop_assert!(volume >= Decimal::ZERO),
            Err(error) => prop_assert_eq!(error.code(), "out_of_range"),
        }
    }
}

#[test]
fn the_spread_between_bottles_is_found_again() {
    let mut chance = Chance::seeded(11);
    let bottles: Vec<_> = (0..4_000)
        .map(|_| {
            let own = chance.normal(0.06, 0.008);
            Estimate::try_new(chance.normal(own, 0.004), 0.004).unwrap()
        })
        .collect();
    let found = between_bottles(&bottles).unwrap();
    assert!((found.between_variance.sqrt() / 0.008 - 1.0).abs() < 0.05, "{found:?}");
    assert!((found.random_effects.mean() / 0.06 - 1.0).abs() < 0.01, "{found:?}");
}

#[test]
fn a_bottle_never_weighed_has_nothing_of_its_own_to_say() {
    let prior = Estimate::try_new(0.05, 0.02).unwrap();
    let full = BottleState::start(Estimate::try_new(250.0, 1.0).unwrap(), prior).unwrap();
    let counted = full.after_drops(300, &BottleNoise::default()).unwrap();
    let filtered = Estimate::try_new(counted.mean()[1], counted.sd()[1]).unwrap();
    assert_eq!(own_evidence(prior, filtered), Ok(None));
}

#[test]
fn two_bottles_do_not_tell_a_spread() {
    let bottle = Estimate::try_new(0.05, 0.01).unwrap();
    let refused = between_bottles(&[bottle, bottle]);
    assert_eq!(refused, Err(CoreError::NotEnough { what: "weighed bottles", have: 2, need: 3 }));
}
