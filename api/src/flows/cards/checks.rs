//! Whether a card makes sense by itself: texts, bounds, and fields that belong to what it is.
//!
//! Bounds are generous: they stop slips of the finger and of the unit, not unusual fleets. Pure.

use super::kinds::{
    Card, Client, Container, Fleet, Item, ItemKind, Job, Recipe, Service, Stage, Vehicle, VehicleClass,
};
use crate::error::Error;
use crate::values::Quantity;
use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use dropwise_core::Decimal;
use dropwise_core::units::currency::Currency;
use std::collections::HashSet;

/// The longest a job is booked for.
const LONGEST_JOB: TimeDelta = TimeDelta::hours(48);

/// Refuses a card whose own fields cannot be right. Pointers start at the body.
pub(super) fn check(card: &Card) -> Result<(), Error> {
    match card {
        Card::Fleet(fleet) => check_fleet(fleet),
        Card::Place(place) => line("/name", &place.name, 120),
        Card::Item(item) => check_item(item),
        Card::Container(container) => check_container(container),
        Card::Pad(pad) => line("/label", &pad.label, 120),
        Card::Machine(machine) => line("/label", &machine.label, 120),
        Card::VehicleClass(class) => check_vehicle_class(class),
        Card::Recipe(recipe) => check_recipe(recipe),
        Card::Client(client) => check_client(client),
        Card::Vehicle(vehicle) => check_vehicle(vehicle),
        Card::Service(Service { name, .. }) => line("/name", name, 120),
        Card::Job(job) => check_job(job),
    }
}

fn check_fleet(fleet: &Fleet) -> Result<(), Error> {
    line("/name", &fleet.name, 120)?;
    zone(fleet)?;
    currency(fleet)?;
    within("scale_sd_out_of_range", "/scale_sd_g", fleet.scale_sd_g, Decimal::ZERO, Decimal::ONE_HUNDRED, "g")
}

/// The zone a fleet counts its days in.
pub(super) fn zone(fleet: &Fleet) -> Result<Tz, Error> {
    fleet.zone.parse().map_err(|_| {
        Error::invalid_at(
            "unknown_zone",
            "/zone",
            "This is no time zone of the IANA database. Name one, e.g. America/Denver.",
        )
    })
}

/// The currency a fleet keeps its books in.
pub(super) fn currency(fleet: &Fleet) -> Result<Currency, Error> {
    Currency::from_code(&fleet.currency).map_err(|_| {
        Error::invalid_at(
            "unknown_currency",
            "/currency",
            "This is no currency of the ISO 4217 list that books can be kept in. Give its three letters, e.g. USD.",
        )
    })
}

fn check_item(item: &Item) -> Result<(), Error> {
    line("/name", &item.name, 120)?;
    let of_products = [
        ("/density_g_per_ml", item.density_g_per_ml.is_some()),
        ("/ml_per_dose", item.ml_per_dose.is_some()),
    ];
    let of_pad_models = [
        ("/diameter_cm", item.diameter_cm.is_some()),
        ("/expected_cycles", item.expected_cycles.is_some()),
        ("/wash_after_cycles", item.wash_after_cycles.is_some()),
        ("/salvage_amount", item.salvage_amount.is_some()),
    ];
    let foreign: &[&[(&str, bool)]] = match item.what {
        ItemKind::Product => &[&of_pad_models],
        ItemKind::PadModel => &[&of_products],
        ItemKind::Supply => &[&of_products, &of_pad_models],
    };
    if let Some((pointer, _)) = foreign.iter().copied().flatten().find(|(_, given)| *given) {
        return Err(Error::invalid_at(
            "field_of_other_item_kind",
            *pointer,
            "This field does not belong to that kind of item. Leave it out.",
        ));
    }
    let half = Decimal::new(5, 1);
    if let Some(density) = item.density_g_per_ml.map(Quantity::get)
        && !(half..=Decimal::from(3)).contains(&density)
    {
        return Err(Error::invalid_at(
            "density_out_of_range",
            "/density_g_per_ml",
            "A density must lie from 0.5 to 3 g/ml. Section 9 of the safety sheet gives it.",
        ));
    }
    let none = Decimal::ZERO;
    within("dose_out_of_range", "/ml_per_dose", item.ml_per_dose, none, Decimal::ONE_HUNDRED, "ml")?;
    within("diameter_out_of_range", "/diameter_cm", item.diameter_cm, none, Decimal::from(50), "cm")?;
    count("cycles_out_of_range", "/expected_cycles", item.expected_cycles, 100_000)?;
    count("cycles_out_of_range", "/wash_after_cycles", item.wash_after_cycles, 1_000)
}

fn check_container(container: &Container) -> Result<(), Error> {
    line("/label", &container.label, 120)?;
    let none = Decimal::ZERO;
    let nominal = Some(container.nominal_ml);
    within("nominal_out_of_range", "/nominal_ml", nominal, none, Decimal::from(1_000_000), "ml")?;
    within("tare_out_of_range", "/tare_g", Some(container.tare_g), none, Decimal::from(100_000), "g")?;
    within("tare_sd_out_of_range", "/tare_sd_g", container.tare_sd_g, none, Decimal::from(1_000), "g")
}

fn check_vehicle_class(class: &VehicleClass) -> Result<(), Error> {
    line("/name", &class.name, 120)?;
    between("section_count", "/sections", class.sections.len(), 1, 100, "sections")?;
    let mut seen = HashSet::new();
    for (i, section) in class.sections.iter().enumerate() {
        line(&format!("/sections/{i}/name"), &section.name, 60)?;
        if !seen.insert(section.name.as_str()) {
            return Err(Error::invalid_at(
                "section_twice",
                format!("/sections/{i}/name"),
                "Two sections have this name. Entries name sections, so each needs its own.",
            ));
        }
        let area = Some(section.area_m2);
        let pointer = format!("/sections/{i}/area_m2");
        within("area_out_of_range", &pointer, area, Decimal::ZERO, Decimal::ONE_HUNDRED, "m²")?;
    }
    Ok(())
}

fn check_recipe(recipe: &Recipe) -> Result<(), Error> {
    line("/name", &recipe.name, 120)?;
    between("stage_count", "/stages", recipe.stages.len(), 1, 30, "stages")?;
    recipe.stages.iter().enumerate().try_for_each(|(i, stage)| check_stage(&format!("/stages/{i}"), stage))
}

fn check_stage(at: &str, stage: &Stage) -> Result<(), Error> {
    let (none, most) = (Decimal::ZERO, Decimal::from(10_000));
    let dose = format!("{at}/ml_per_m2");
    if stage.ml_per_m2.is_some() && stage.item_id.is_none() {
        return Err(Error::invalid_at(
            "dose_without_product",
            dose,
            "This stage puts something down but names no product. Add item_id, or leave the dose out.",
        ));
    }
    within("dose_out_of_range", &dose, stage.ml_per_m2, none, most, "ml/m²")?;
    let pace = Some(stage.min_per_m2);
    within("pace_out_of_range", &format!("{at}/min_per_m2"), pace, none, most, "min/m²")?;
    count("passes_out_of_range", &format!("{at}/passes"), stage.passes, 50)?;
    count("speed_out_of_range", &format!("{at}/speed_step"), stage.speed_step, 10)
}

fn check_client(client: &Client) -> Result<(), Error> {
    line("/name", &client.name, 120)?;
    client.contact.as_deref().map_or(Ok(()), |text| lines("/contact", text, 200))?;
    client.address.as_deref().map_or(Ok(()), |text| lines("/address", text, 300))
}

fn check_vehicle(vehicle: &Vehicle) -> Result<(), Error> {
    line("/description", &vehicle.description, 120)?;
    vehicle.plate.as_deref().map_or(Ok(()), |text| line("/plate", text, 20))
}

fn check_job(job: &Job) -> Result<(), Error> {
    between("crew_count", "/crew", job.crew.len(), 0, 20, "members")?;
    let mut seen = HashSet::new();
    if let Some(i) = job.crew.iter().position(|member| !seen.insert(member)) {
        return Err(Error::invalid_at(
            "crew_twice",
            format!("/crew/{i}"),
            "This member is in the crew already. Name each once.",
        ));
    }
    between("service_count", "/service_ids", job.service_ids.len(), 0, 30, "services")?;
    between("section_state_count", "/sections", job.sections.len(), 0, 500, "states of sections")?;
    date("/starts_at", job.starts_at)?;
    date("/ends_at", job.ends_at)?;
    let length = job.ends_at - job.starts_at;
    if length <= TimeDelta::zero() {
        let sentence = "The job ends before it starts. Give an end after its start.";
        return Err(Error::invalid_at("job_ends_first", "/ends_at", sentence));
    }
    if length > LONGEST_JOB {
        let sentence = "A job is booked for at most 48 hours. Book the rest as another job.";
        return Err(Error::invalid_at("job_too_long", "/ends_at", sentence));
    }
    job.note.as_deref().map_or(Ok(()), |text| lines("/note", text, 2_000))
}

/// A date that is no slip of the finger.
fn date(pointer: &str, at: DateTime<Utc>) -> Result<(), Error> {
    use chrono::Datelike;
    if (2000..2200).contains(&at.year()) {
        Ok(())
    } else {
        let sentence = "The date must lie in the years from 2000 to 2199.";
        Err(Error::invalid_at("date_out_of_range", pointer, sentence))
    }
}

/// A text of one line.
fn line(pointer: &str, text: &str, most: usize) -> Result<(), Error> {
    readable(pointer, text, most, char::is_control)
}

/// A text that may have several lines.
fn lines(pointer: &str, text: &str, most: usize) -> Result<(), Error> {
    readable(pointer, text, most, |c| c.is_control() && !matches!(c, '\n' | '\r' | '\t'))
}

fn readable(pointer: &str, text: &str, most: usize, stray: impl Fn(char) -> bool) -> Result<(), Error> {
    let refuse = |code, sentence: String| Err(Error::invalid_at(code, pointer, sentence));
    if text.trim().is_empty() {
        return refuse("text_empty", "There is nothing to read here. Give a text, or leave it out.".into());
    }
    if text.trim() != text {
        return refuse("text_padded", "The text starts or ends with blanks. Take them off.".into());
    }
    if text.chars().count() > most {
        return refuse("text_too_long", format!("The text may have at most {most} characters. Shorten it."));
    }
    if text.chars().any(stray) {
        return refuse("text_unreadable", "The text has control characters. Take them out.".into());
    }
    Ok(())
}

/// A measure above one bound and up to another.
fn within(
    code: &'static str,
    pointer: &str,
    value: Option<Quantity>,
    above: Decimal,
    most: Decimal,
    unit: &str,
) -> Result<(), Error> {
    match value.map(Quantity::get) {
        Some(value) if value <= above || value > most => Err(Error::invalid_at(
            code,
            pointer,
            format!(
                "This must be more than {above} and at most {most} {unit}. Check the figure and its unit."
            ),
        )),
        _ => Ok(()),
    }
}

/// A whole number from 1.
fn count(code: &'static str, pointer: &str, value: Option<u32>, most: u32) -> Result<(), Error> {
    match value {
        Some(value) if !(1..=most).contains(&value) => {
            let sentence = format!("This must be a whole number from 1 to {most}.");
            Err(Error::invalid_at(code, pointer, sentence))
        }
        _ => Ok(()),
    }
}

/// How many there are of something.
fn between(
    code: &'static str,
    pointer: &str,
    given: usize,
    least: usize,
    most: usize,
    of: &str,
) -> Result<(), Error> {
    if (least..=most).contains(&given) {
        return Ok(());
    }
    let sentence = format!("There must be from {least} to {most} {of}; here are {given}.");
    Err(Error::invalid_at(code, pointer, sentence))
}

#[cfg(test)]
mod tests {
    use super::super::document;
    use super::super::kinds::Kind;
    use super::*;
    use serde_json::{Value, json};

    fn refusal(kind: Kind, body: Value) -> Option<(&'static str, String)> {
        match document::read(kind, body).and_then(|card| check(&card)) {
            Ok(()) => None,
            Err(Error::Invalid { code, pointer, .. }) => Some((code, pointer.unwrap_or_default())),
            Err(other) => panic!("{other}"),
        }
    }

    fn job() -> Value {
        let id = "01890a5d-ac96-774b-bcce-b302099a8057";
        json!({"place_id": id, "client_id": id, "vehicle_id": id, "crew": [], "service_ids": [],
               "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T19:00:00Z", "state": "booked"})
    }

    #[expect(clippy::needless_pass_by_value, reason = "reads as a list of changes")]
    fn with(mut body: Value, changes: Value) -> Value {
        document::merge(&mut body, &changes);
        body
    }

    #[test]
    fn sensible_cards_pass() {
        let id = "01890a5d-ac96-774b-bcce-b302099a8057";
        let cards = [
            (Kind::Fleet, json!({"name": "Kerbside", "currency": "USD", "zone": "America/Denver"})),
            (Kind::Place, json!({"name": "Van 1", "what": "van"})),
            (Kind::Item, json!({"name": "Compound", "what": "product", "density_g_per_ml": "1.12"})),
            (
                Kind::Item,
                json!({"name": "Pad", "what": "pad_model", "diameter_cm": "15", "expected_cycles": 60}),
            ),
            (Kind::Item, json!({"name": "Towel", "what": "supply"})),
            (
                Kind::Container,
                json!({"label": "B1", "item_id": id, "place_id": id, "nominal_ml": "500", "tare_g": "62.5", "dose": "drop"}),
            ),
            (Kind::VehicleClass, json!({"name": "Sedan", "sections": [{"name": "hood", "area_m2": "1.6"}]})),
            (Kind::Recipe, json!({"name": "One step", "stages": [{"what": "polishing", "min_per_m2": "6"}]})),
            (Kind::Client, json!({"name": "A. Client", "address": "1 Kerb\nTown"})),
            (Kind::Job, job()),
        ];
        for (kind, body) in cards {
            assert_eq!(refusal(kind, body.clone()), None, "{body}");
        }
    }

    #[test]
    #[expect(clippy::too_many_lines, reason = "a table: one slip per line")]
    fn every_slip_has_its_code_and_its_place() {
        let id = "01890a5d-ac96-774b-bcce-b302099a8057";
        let fleet = json!({"name": "Kerbside", "currency": "USD", "zone": "America/Denver"});
        let product = json!({"name": "Compound", "what": "product"});
        let pad = json!({"name": "Pad", "what": "pad_model"});
        let bottle = json!({"label": "B1", "item_id": id, "place_id": id, "nominal_ml": "500", "tare_g": "62.5", "dose": "drop"});
        let class = json!({"name": "Sedan", "sections": [{"name": "hood", "area_m2": "1.6"}]});
        let recipe = json!({"name": "One step", "stages": [{"what": "polishing", "min_per_m2": "6"}]});
        let stage = |changes: Value| {
            with(
                recipe.clone(),
                json!({"stages": [with(json!({"what": "polishing", "min_per_m2": "6"}), changes)]}),
            )
        };
        let cases = [
            (Kind::Place, json!({"name": "", "what": "van"}), "text_empty", "/name"),
            (Kind::Place, json!({"name": " \u{2003}", "what": "van"}), "text_empty", "/name"),
            (Kind::Place, json!({"name": "Van ", "what": "van"}), "text_padded", "/name"),
            (Kind::Place, json!({"name": "V\u{0}n", "what": "van"}), "text_unreadable", "/name"),
            (Kind::Place, json!({"name": "é".repeat(121), "what": "van"}), "text_too_long", "/name"),
            (Kind::Client, json!({"name": "A", "address": "x\u{7}y"}), "text_unreadable", "/address"),
            (Kind::Fleet, with(fleet.clone(), json!({"zone": "Mars/Olympus"})), "unknown_zone", "/zone"),
            (Kind::Fleet, with(fleet.clone(), json!({"currency": "usd"})), "unknown_currency", "/currency"),
            (Kind::Fleet, with(fleet.clone(), json!({"currency": "XAU"})), "unknown_currency", "/currency"),
            (Kind::Fleet, with(fleet, json!({"scale_sd_g": "0"})), "scale_sd_out_of_range", "/scale_sd_g"),
            (
                Kind::Item,
                with(product.clone(), json!({"density_g_per_ml": "0.49"})),
                "density_out_of_range",
                "/density_g_per_ml",
            ),
            (
                Kind::Item,
                with(product.clone(), json!({"density_g_per_ml": "3.0001"})),
                "density_out_of_range",
                "/density_g_per_ml",
            ),
            (
                Kind::Item,
                with(product.clone(), json!({"expected_cycles": 60})),
                "field_of_other_item_kind",
                "/expected_cycles",
            ),
            (
                Kind::Item,
                json!({"name": "Towel", "what": "supply", "ml_per_dose": "1"}),
                "field_of_other_item_kind",
                "/ml_per_dose",
            ),
            (Kind::Item, with(product, json!({"ml_per_dose": "0"})), "dose_out_of_range", "/ml_per_dose"),
            (
                Kind::Item,
                with(pad.clone(), json!({"diameter_cm": "50.1"})),
                "diameter_out_of_range",
                "/diameter_cm",
            ),
            (Kind::Item, with(pad, json!({"expected_cycles": 0})), "cycles_out_of_range", "/expected_cycles"),
            (
                Kind::Container,
                with(bottle.clone(), json!({"nominal_ml": "0"})),
                "nominal_out_of_range",
                "/nominal_ml",
            ),
            (Kind::Container, with(bottle, json!({"tare_g": "0"})), "tare_out_of_range", "/tare_g"),
            (Kind::VehicleClass, with(class.clone(), json!({"sections": []})), "section_count", "/sections"),
            (
                Kind::VehicleClass,
                with(
                    class.clone(),
                    json!({"sections": [{"name": "a", "area_m2": "1"}, {"name": "a", "area_m2": "1"}]}),
                ),
                "section_twice",
                "/sections/1/name",
            ),
            (
                Kind::VehicleClass,
                with(class, json!({"sections": [{"name": "a", "area_m2": "0"}]})),
                "area_out_of_range",
                "/sections/0/area_m2",
            ),
            (Kind::Recipe, with(recipe.clone(), json!({"stages": []})), "stage_count", "/stages"),
            (Kind::Recipe, stage(json!({"ml_per_m2": "2"})), "dose_without_product", "/stages/0/ml_per_m2"),
            (Kind::Recipe, stage(json!({"min_per_m2": "0"})), "pace_out_of_range", "/stages/0/min_per_m2"),
            (Kind::Recipe, stage(json!({"passes": 51})), "passes_out_of_range", "/stages/0/passes"),
            (Kind::Recipe, stage(json!({"speed_step": 0})), "speed_out_of_range", "/stages/0/speed_step"),
            (
                Kind::Job,
                with(job(), json!({"ends_at": "2026-03-02T15:00:00Z"})),
                "job_ends_first",
                "/ends_at",
            ),
            (Kind::Job, with(job(), json!({"ends_at": "2026-03-04T15:00:01Z"})), "job_too_long", "/ends_at"),
            (
                Kind::Job,
                with(job(), json!({"starts_at": "1999-12-31T23:00:00Z"})),
                "date_out_of_range",
                "/starts_at",
            ),
            (Kind::Job, with(job(), json!({"crew": [id, id]})), "crew_twice", "/crew/1"),
            (Kind::Job, with(job(), json!({"service_ids": vec![id; 31]})), "service_count", "/service_ids"),
        ];
        for (kind, body, code, pointer) in cases {
            assert_eq!(refusal(kind, body.clone()), Some((code, pointer.to_owned())), "{body}");
        }
    }
}
