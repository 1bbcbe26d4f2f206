use super::result;
use crate::safety::heat_level::{HeatLevel, HeatLimit, heat_warning};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use serde::{Deserialize, Deserializer};
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "heat_level",
    sentence: "Whether the air in a parked van may reach a product's flash point, or an aerosol's limit.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    /// Null stands for an aerosol. It must be written: a forgotten flash point is not an aerosol.
    #[serde(deserialize_with = "written")]
    flash_point_c: Option<DecimalText>,
    ambient_c: DecimalText,
    minutes_parked: DecimalText,
}

fn written<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<DecimalText>, D::Error> {
    Option::deserialize(deserializer)
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let Inputs { flash_point_c, ambient_c, minutes_parked } = read(inputs)?;
    let limit = flash_point_c.map_or(HeatLimit::Aerosol, |flash| HeatLimit::FlashPoint(flash.0));
    let warning = heat_warning(limit, ambient_c.0, minutes_parked.0)?;
    let level = match warning.level {
        HeatLevel::None => "none",
        HeatLevel::Near => "near",
        HeatLevel::Above => "above",
    };
    let fields = [("estimate_c", format!("{:.2}", warning.estimate_c).into()), ("heat_level", level.into())];
    Ok(result(fields, steps, || {
        let held_against = match limit {
            HeatLimit::FlashPoint(flash) => format!("flash point {flash} °C, near from 16.7 °C below"),
            HeatLimit::Aerosol => "aerosol, not above 50 °C".to_owned(),
        };
        vec![
            ("rise of the air in the van (°C)".to_owned(), warning.rise_c.to_string().into()),
            ("held against".to_owned(), held_against.into()),
        ]
    }))
}
