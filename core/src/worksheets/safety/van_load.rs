use super::{result, words};
use crate::safety::van_load::{
    Container, Decision, Exclusion, Load, LoadRule, Package, PackingGroup, State, check_load,
};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "van_load",
    sentence: "Whether a van's load stays within the materials-of-trade exception.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    load: Vec<Line>,
    #[serde(default)]
    vehicle: Vehicle,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Vehicle {
    #[serde(default = "yes")]
    driver_informed: bool,
}

impl Default for Vehicle {
    fn default() -> Self {
        Self { driver_informed: true }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    name: String,
    un_class: String,
    packing_group: Option<Group>,
    state: Matter,
    container: Kind,
    count: u32,
    capacity_l: Option<DecimalText>,
    gross_kg_each: DecimalText,
    concentration_pct: Option<DecimalText>,
    #[serde(default)]
    flags: Vec<Flag>,
    #[serde(default = "yes")]
    marked: bool,
    #[serde(default = "yes")]
    closed_and_secured: bool,
}

fn yes() -> bool {
    true
}

#[derive(Clone, Copy, Deserialize)]
enum Group {
    #[serde(rename = "I")]
    One,
    #[serde(rename = "II")]
    Two,
    #[serde(rename = "III")]
    Three,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Matter {
    Liquid,
    Solid,
    Gas,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Kind {
    Receptacle,
    Cylinder,
    AerosolCan,
    DiluteTank,
    AsmeTank,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Flag {
    SelfReactive,
    PoisonByInhalation,
    HazardousWaste,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let Inputs { load: lines, vehicle } = read(inputs)?;
    let mut packages = Vec::with_capacity(lines.len());
    for (place, line) in lines.iter().enumerate() {
        packages.push(package(line).map_err(|refusal| refusal.at(format!("/load/{place}/un_class")))?);
    }
    let report = check_load(&Load { packages, driver_informed: vehicle.driver_informed })?;
    let decision = match report.decision() {
        Decision::Allowed => "allowed",
        Decision::NeedsReview => "needs_review",
        Decision::NotAllowed => "not_allowed",
    };
    let fields = [
        ("decision", decision.into()),
        ("broken", words(report.broken().into_iter().map(LoadRule::code))),
        ("review", words(report.review().into_iter().map(LoadRule::code))),
        ("aggregate_gross_kg", report.aggregate_gross_kg.normalize().to_string().into()),
    ];
    Ok(result(fields, steps, || {
        let named = |place: Option<usize>| {
            place.and_then(|place| lines.get(place)).map_or("the vehicle", |line| line.name.as_str())
        };
        let finding = |f: &crate::safety::van_load::Finding| {
            (format!("{}: {}", f.rule.code(), named(f.package)), f.rule.sentence().into())
        };
        report.findings.iter().map(finding).collect()
    }))
}

fn package(line: &Line) -> Result<Package, Refusal> {
    Ok(Package {
        class: line.un_class.parse()?,
        packing_group: line.packing_group.map(|group| match group {
            Group::One => PackingGroup::I,
            Group::Two => PackingGroup::II,
            Group::Three => PackingGroup::III,
        }),
        state: match line.state {
            Matter::Liquid => State::Liquid,
            Matter::Solid => State::Solid,
            Matter::Gas => State::Gas,
        },
        container: match line.container {
            Kind::Receptacle => Container::Receptacle,
            Kind::Cylinder => Container::Cylinder,
            Kind::AerosolCan => Container::AerosolCan,
            Kind::DiluteTank => Container::DiluteTank,
            Kind::AsmeTank => Container::MountedTank,
        },
        count: line.count,
        capacity_l: line.capacity_l.map(|litres| litres.0),
        gross_kg_each: line.gross_kg_each.0,
        concentration_pct: line.concentration_pct.map(|pct| pct.0),
        exclusions: line
            .flags
            .iter()
            .map(|flag| match flag {
                Flag::SelfReactive => Exclusion::SelfReactive,
                Flag::PoisonByInhalation => Exclusion::PoisonByInhalation,
                Flag::HazardousWaste => Exclusion::HazardousWaste,
            })
            .collect(),
        marked: line.marked,
        closed_and_secured: line.closed_and_secured,
    })
}
