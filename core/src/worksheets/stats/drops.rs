//! Worksheets of drop sizes: the conventions, the physics, and the pooling of bottles.

use super::super::steps::Steps;
use super::super::{DecimalText, Refusal, read};
use crate::stats::Estimate;
use crate::stats::drop_size::{between_bottles, pool};
use crate::stats::drop_weight::{detached_fraction, ideal_drop, is_plausible, within_compendial_range};
use crate::units::drops::{
    CONVENTIONAL_ML_PER_DROP, counted_drops_per_ml, counted_ml_per_drop, ml_per_drop, volume_ml,
};
use serde::Deserialize;
use serde_json::{Value, json};

/// The questions asked of drops, told apart by what is given.
#[derive(Deserialize)]
#[serde(
    untagged,
    expecting = "expected { drops, ml_per_drop }, { drops, measured_volume_ml }, { drops_per_ml }, \
                 { water_drop_mass_mg } or a tip with its surface tension, density, gravity and drop mass"
)]
enum Drops {
    FallenDrop(FallenDrop),
    WaterDrop(WaterDrop),
    Calibration(Calibration),
    Restated(Restated),
    Counted(Counted),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FallenDrop {
    tip_wetted_diameter_mm: f64,
    surface_tension_n_per_m: f64,
    density_g_per_ml: f64,
    gravity_m_per_s2: f64,
    measured_drop_mass_mg: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WaterDrop {
    water_drop_mass_mg: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Calibration {
    drops: u64,
    measured_volume_ml: DecimalText,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Restated {
    drops_per_ml: Vec<DecimalText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Counted {
    drops: u64,
    ml_per_drop: Option<DecimalText>,
}

pub(super) fn drop_conventions(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let mut taken = Steps::new(steps);
    let result = match read(inputs)? {
        Drops::Counted(given) => {
            let size = given.ml_per_drop.map_or(CONVENTIONAL_ML_PER_DROP, |size| size.0);
            taken.note("ml per drop", size.to_string());
            json!({ "volume_ml": DecimalText(volume_ml(given.drops, size)?) })
        }
        Drops::Calibration(given) => json!({
            "drops_per_ml": DecimalText(counted_drops_per_ml(given.drops, given.measured_volume_ml.0)?),
            "ml_per_drop": DecimalText(counted_ml_per_drop(given.drops, given.measured_volume_ml.0)?),
        }),
        Drops::Restated(given) => {
            let sizes: Result<Vec<_>, _> =
                given.drops_per_ml.iter().map(|d| ml_per_drop(d.0).map(DecimalText)).collect();
            json!({ "ml_per_drop": sizes? })
        }
        Drops::WaterDrop(given) => {
            json!({ "within_compendial_range": within_compendial_range(given.water_drop_mass_mg)? })
        }
        Drops::FallenDrop(given) => {
            let ideal = ideal_drop(
                given.tip_wetted_diameter_mm,
                given.surface_tension_n_per_m,
                given.density_g_per_ml,
                given.gravity_m_per_s2,
            )?;
            let mut shown =
                json!({ "ideal_drop_mass_mg": ideal.mass_mg, "ideal_drop_volume_ul": ideal.volume_ul });
            if let (Some(measured), Some(fields)) = (given.measured_drop_mass_mg, shown.as_object_mut()) {
                let fraction = detached_fraction(measured, &ideal)?;
                fields.insert("detached_fraction".to_owned(), fraction.into());
                fields.insert("plausible".to_owned(), is_plausible(fraction).into());
            }
            shown
        }
    };
    Ok(taken.onto(result))
}

#[derive(Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
enum Pooling {
    GroupUpdate {
        prior_mean_ml_per_drop: f64,
        prior_sd_ml_per_drop: f64,
        between_bottle_sd_ml: f64,
        bottle_ml_per_drop: Vec<f64>,
        bottle_sd_ml_per_drop: Vec<f64>,
    },
    EstimateTau {
        estimates: Vec<f64>,
        variances: Vec<f64>,
    },
}

pub(super) fn pooled_drop_size(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let mut taken = Steps::new(steps);
    let result = match read(inputs)? {
        Pooling::GroupUpdate {
            prior_mean_ml_per_drop,
            prior_sd_ml_per_drop,
            between_bottle_sd_ml,
            bottle_ml_per_drop,
            bottle_sd_ml_per_drop,
        } => {
            let prior = Estimate::try_new(prior_mean_ml_per_drop, prior_sd_ml_per_drop)?;
            let bottles = paired(&bottle_ml_per_drop, &bottle_sd_ml_per_drop, "/bottle_sd_ml_per_drop")?;
            let pooled = pool(prior, between_bottle_sd_ml, &bottles)?;
            taken.note("bottles", bottles.len());
            taken.note("variance of the group mean, V", pooled.group.sd() * pooled.group.sd());
            let means: Vec<f64> = pooled.bottles.iter().map(|bottle| bottle.mean()).collect();
            let sds: Vec<f64> = pooled.bottles.iter().map(|bottle| bottle.sd()).collect();
            json!({
                "group_mean_ml_per_drop": pooled.group.mean(),
                "group_mean_sd_ml": pooled.group.sd(),
                "new_bottle_prior_mean_ml_per_drop": pooled.new_bottle.mean(),
                "new_bottle_prior_sd_ml": pooled.new_bottle.sd(),
                "shrunk_bottle_ml_per_drop": means,
                "shrunk_bottle_sd_ml": sds,
            })
        }
        Pooling::EstimateTau { estimates, variances } => {
            let sds: Vec<f64> = variances.iter().map(|variance| variance.sqrt()).collect();
            let found = between_bottles(&paired(&estimates, &sds, "/variances")?)?;
            taken.note("degrees of freedom, k - 1", estimates.len().saturating_sub(1));
            json!({
                "fixed_effect_mean": found.fixed_effect.mean(),
                "fixed_effect_se": found.fixed_effect.sd(),
                "cochran_q": found.cochran_q,
                "between_variance_tau2": found.between_variance,
                "random_effects_mean": found.random_effects.mean(),
                "random_effects_se": found.random_effects.sd(),
            })
        }
    };
    Ok(taken.onto(result))
}

fn paired(means: &[f64], sds: &[f64], pointer: &str) -> Result<Vec<Estimate>, Refusal> {
    if means.len() != sds.len() {
        let sentence = format!("{} means need as many spreads, but {} are given.", means.len(), sds.len());
        return Err(Refusal::new("bad_inputs", sentence).at(pointer));
    }
    let pairs = means.iter().zip(sds);
    Ok(pairs.map(|(mean, sd)| Estimate::try_new(*mean, *sd)).collect::<Result<_, _>>()?)
}
