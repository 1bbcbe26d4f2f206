use super::result;
use crate::safety::flash_category::{FlashCategory, Transport, flash_class};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "flash_category",
    sentence: "How flammable a liquid counts as, from its flash point and boiling point.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    flash_point_c: DecimalText,
    boiling_point_c: Option<DecimalText>,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let Inputs { flash_point_c, boiling_point_c } = read(inputs)?;
    let class = flash_class(flash_point_c.0, boiling_point_c.map(|boiling| boiling.0));
    let open = class.category == FlashCategory::NeedsBoilingPoint;
    let h_code = class.category.hazard_code().unwrap_or(if open { "unknown" } else { "none" });
    let fields = [
        ("category", category(class.category).into()),
        ("h_code", h_code.into()),
        ("dot", transport(class.transport).into()),
    ];
    Ok(result(fields, steps, || {
        vec![
            ("flash point below 23 °C".to_owned(), yes_no(flash_point_c.0 < 23.into())),
            (
                "boiling point at most 35 °C".to_owned(),
                boiling_point_c.map_or("not known".into(), |boiling| yes_no(boiling.0 <= 35.into())),
            ),
        ]
    }))
}

fn yes_no(yes: bool) -> Value {
    if yes { "yes".into() } else { "no".into() }
}

fn category(category: FlashCategory) -> &'static str {
    match category {
        FlashCategory::One => "1",
        FlashCategory::Two => "2",
        FlashCategory::Three => "3",
        FlashCategory::Four => "4",
        FlashCategory::NeedsBoilingPoint => "needs boiling point",
        FlashCategory::None => "none",
    }
}

fn transport(transport: Transport) -> &'static str {
    match transport {
        Transport::Class3PackingGroupI => "class 3 PG I",
        Transport::Class3PackingGroupII => "class 3 PG II",
        Transport::Class3PackingGroupIII => "class 3 PG III",
        Transport::Class3NeedsBoilingPoint => "class 3, packing group needs boiling point",
        Transport::Combustible => "combustible liquid range",
        Transport::NotClass3 => "not class 3",
    }
}
