use super::{result, words};
use crate::Decimal;
use crate::safety::dilution_class::{
    Dilution, EyeClass, Flag, Ingredient, KnownOfProduct, Path, SkinClass, SkinEye, diluted_class,
};
use crate::safety::pictograms::Pictogram;
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::{Map, Value};
use std::collections::BTreeSet;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "dilution_class",
    sentence: "What a diluted product may do to skin and eyes, from its ingredients.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    ingredients: Vec<Line>,
    dilution: Ratio,
    rtu_ph: Option<DecimalText>,
    #[serde(default)]
    reserve_evidence_noncorrosive: bool,
    supplier_rtu_class: Option<Classes>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    name: String,
    pct_w_w: DecimalText,
    skin: Option<String>,
    eye: Option<String>,
    #[serde(default = "yes")]
    additive: bool,
    extreme_ph: Option<Extreme>,
    #[serde(default)]
    fluoride: bool,
}

fn yes() -> bool {
    true
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Extreme {
    Acid,
    Base,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Classes {
    skin: Option<String>,
    eye: Option<String>,
}

#[derive(Deserialize)]
#[serde(tag = "basis", rename_all = "snake_case", deny_unknown_fields)]
enum Ratio {
    Mass {
        parts_concentrate: Parts,
        parts_water: Parts,
    },
    Volume {
        parts_concentrate: Parts,
        parts_water: Parts,
        density_concentrate: DecimalText,
        density_water: Option<DecimalText>,
    },
}

/// Parts are mostly written as whole numbers; a fraction travels as text like every decimal.
#[derive(Clone, Copy, Deserialize)]
#[serde(untagged)]
enum Parts {
    Whole(u32),
    Text(DecimalText),
}

impl From<Parts> for Decimal {
    fn from(parts: Parts) -> Self {
        match parts {
            Parts::Whole(parts) => parts.into(),
            Parts::Text(parts) => parts.0,
        }
    }
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let mut ingredients = Vec::with_capacity(inputs.ingredients.len());
    let mut names = BTreeSet::new();
    for (place, line) in inputs.ingredients.iter().enumerate() {
        let at = |refusal: Refusal| refusal.at(format!("/ingredients/{place}"));
        if !names.insert(line.name.as_str()) {
            return Err(at(Refusal::new(
                "bad_inputs",
                "An ingredient is named twice: add its shares up first.",
            )));
        }
        ingredients.push(ingredient(line).map_err(at)?);
    }
    let supplier_class = match &inputs.supplier_rtu_class {
        Some(given) => {
            let class = class(given.skin.as_deref(), given.eye.as_deref());
            Some(class.map_err(|refusal| refusal.at("/supplier_rtu_class"))?)
        }
        None => None,
    };
    let known = KnownOfProduct {
        ph: inputs.rtu_ph.map(|ph| ph.0),
        reserve_evidence_noncorrosive: inputs.reserve_evidence_noncorrosive,
        supplier_class,
    };
    let answer = diluted_class(&ingredients, dilution(&inputs.dilution), known)?;
    let rtu_pct: Map<String, Value> = inputs
        .ingredients
        .iter()
        .zip(&answer.rtu_pct)
        .map(|(line, pct)| (line.name.clone(), pct.to_string().into()))
        .collect();
    let fields = [
        ("skin", answer.class.skin.map(SkinClass::code).into()),
        ("eye", answer.class.eye.map(EyeClass::code).into()),
        ("path", path(answer.path).into()),
        ("rtu_pct", Value::Object(rtu_pct)),
        ("h_codes", words(answer.statements.iter().map(|statement| statement.code))),
        ("pictograms", words(answer.label.pictograms.iter().copied().map(Pictogram::code))),
        ("signal_word", answer.label.signal_word.text().into()),
        ("flags", words(answer.flags.iter().copied().map(Flag::code))),
    ];
    Ok(result(fields, steps, || {
        let share = |(line, pct): (&Line, &Decimal)| {
            (format!("{} in the diluted product (% by mass)", line.name), pct.to_string().into())
        };
        let shares = inputs.ingredients.iter().zip(&answer.rtu_pct).map(share);
        let settled = ("settled by".to_owned(), sentence(answer.path).into());
        shares.chain([settled]).collect()
    }))
}

fn ingredient(line: &Line) -> Result<Ingredient, Refusal> {
    Ok(Ingredient {
        pct_w_w: line.pct_w_w.0,
        class: class(line.skin.as_deref(), line.eye.as_deref())?,
        additive: line.additive,
        // The method treats strong acids and strong bases alike.
        extreme_ph: matches!(line.extreme_ph, Some(Extreme::Acid | Extreme::Base)),
        fluoride: line.fluoride,
    })
}

fn class(skin: Option<&str>, eye: Option<&str>) -> Result<SkinEye, Refusal> {
    Ok(SkinEye { skin: skin.map(str::parse).transpose()?, eye: eye.map(str::parse).transpose()? })
}

fn dilution(ratio: &Ratio) -> Dilution {
    match ratio {
        Ratio::Mass { parts_concentrate, parts_water } => {
            Dilution::Mass { concentrate: (*parts_concentrate).into(), water: (*parts_water).into() }
        }
        Ratio::Volume { parts_concentrate, parts_water, density_concentrate, density_water } => {
            Dilution::Volume {
                concentrate: (*parts_concentrate).into(),
                water: (*parts_water).into(),
                density_concentrate: density_concentrate.0,
                density_water: density_water.map_or(Decimal::ONE, |density| density.0),
            }
        }
    }
}

fn path(path: Path) -> &'static str {
    match path {
        Path::Supplier => "supplier",
        Path::Ph => "ph",
        Path::NonAdditive => "non_additive",
        Path::Additive => "additive",
        Path::NonAdditiveAndAdditive => "non_additive+additive",
        Path::None => "none",
    }
}

fn sentence(path: Path) -> &'static str {
    match path {
        Path::Supplier => "the class the supplier gives for the product as used",
        Path::Ph => "a pH of at most 2 or at least 11.5",
        Path::NonAdditive => "ingredients that do not go by sums",
        Path::Additive => "the sums over the ingredients",
        Path::NonAdditiveAndAdditive => "the graver of single ingredients and of the sums",
        Path::None => "nothing: no class follows from what is listed, which is no clearance",
    }
}
