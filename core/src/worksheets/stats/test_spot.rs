//! The worksheet of a test spot projected onto a whole car.

use super::super::steps::Steps;
use super::super::{Refusal, read};
use crate::stats::test_spot::{
    Measurement, Projection, ProjectionRule, Route, UnitSize, project, sum_stages, vehicle_area_m2,
};
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    confidence: f64,
    fallback_log_sd: f64,
    vehicle_section_areas_m2: Vec<f64>,
    stages: Vec<Stage>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Stage {
    name: String,
    #[serde(default)]
    counts_towards_minutes: bool,
    unit_size: Option<f64>,
    unit_size_relative_sd: Option<f64>,
    measurements: Vec<Measured>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Measured {
    area_m2: f64,
    amount: f64,
}

pub(super) fn test_spot_projection(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let given: Inputs = read(inputs)?;
    let rule = ProjectionRule { confidence: given.confidence, fallback_log_sd: given.fallback_log_sd };
    let areas = &given.vehicle_section_areas_m2;
    let mut taken = Steps::new(steps);
    let (mut shown, mut timed) = (Vec::new(), Vec::new());
    for (i, stage) in given.stages.iter().enumerate() {
        let measured: Vec<Measurement> =
            stage.measurements.iter().map(|m| Measurement { area_m2: m.area_m2, amount: m.amount }).collect();
        let unit = UnitSize {
            mean: stage.unit_size.unwrap_or(UnitSize::ONE.mean),
            relative_sd: stage.unit_size_relative_sd.unwrap_or(UnitSize::ONE.relative_sd),
        };
        let projection = project(&measured, areas, unit, &rule)
            .map_err(|error| Refusal::from(error).at(format!("/stages/{i}")))?;
        taken.note(&format!("{}: median per m2", stage.name), unit.mean * projection.mean_log_rate.exp());
        shown.push(line(&stage.name, &projection));
        if stage.counts_towards_minutes {
            timed.push(projection);
        }
    }
    let mut result = json!({ "stages": shown, "vehicle_area_m2": vehicle_area_m2(areas)? });
    if let (false, Some(fields)) = (timed.is_empty(), result.as_object_mut()) {
        let sum = sum_stages(&timed)?;
        let minutes = json!({
            "median_sum": sum.median,
            "lower_sum": sum.lower,
            "upper_sum": sum.upper,
            "mean_sum": sum.mean,
        });
        fields.insert("total_minutes".to_owned(), minutes);
    }
    Ok(taken.onto(result))
}

fn line(name: &str, projection: &Projection) -> Value {
    let route = match projection.route {
        Route::StudentT => "student_t",
        Route::FallbackNormal => "fallback_normal",
    };
    json!({
        "name": name,
        "route": route,
        "k": projection.k,
        "mean_log_rate": projection.mean_log_rate,
        "log_sd": projection.log_sd,
        "quantile": projection.quantile,
        "half_width_log": projection.half_width_log,
        "median_total": projection.median_total,
        "lower_total": projection.lower_total,
        "upper_total": projection.upper_total,
        "mean_total": projection.mean_total,
        "section_medians": projection.section_medians,
    })
}
