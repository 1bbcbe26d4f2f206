//! Fields that are written one at a time, so that two people can edit one card at once: which they are,
//! who may write them, and how they lie in a card's body. Pure.

use super::kinds::{Job, Kind, StageKind, VehicleClass};
use super::{checks, document};
use crate::auth::Role;
use crate::error::Error;
use serde_json::{Map, Value};
use std::collections::BTreeSet;

/// Before the name of a section and a stage, the state of that section: `sections/hood_left/polishing`.
const SECTIONS: &str = "sections/";

/// Fields anybody at the kerb may write.
const fn of_technicians(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Job => &["note"],
        Kind::Container | Kind::Pad => &["label"],
        Kind::Fleet
        | Kind::Place
        | Kind::Item
        | Kind::Machine
        | Kind::VehicleClass
        | Kind::Recipe
        | Kind::Client
        | Kind::Vehicle
        | Kind::Service => &[],
    }
}

/// Fields the office may write from a phone as well.
const fn of_the_office(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Client => &["contact", "address"],
        Kind::Vehicle => &["description", "plate"],
        Kind::Machine => &["label"],
        Kind::Fleet
        | Kind::Place
        | Kind::Item
        | Kind::Container
        | Kind::Pad
        | Kind::VehicleClass
        | Kind::Recipe
        | Kind::Service
        | Kind::Job => &[],
    }
}

/// Whether this field of such a card may be written on its own by a member of that role.
pub(in crate::flows) fn may_write(kind: Kind, field: &str, role: Role) -> bool {
    let sections = kind == Kind::Job && field.starts_with(SECTIONS);
    let office = match role {
        Role::Technician => false,
        Role::Office | Role::Owner => of_the_office(kind).contains(&field),
    };
    sections || office || of_technicians(kind).contains(&field)
}

/// Section and stage, when the field is the state of one.
pub(in crate::flows) fn section(field: &str) -> Option<(&str, &str)> {
    field.strip_prefix(SECTIONS)?.rsplit_once('/')
}

/// What a field holds; null when it holds nothing.
pub(in crate::flows) fn value_of(body: &Value, field: &str) -> Value {
    let found = match field.strip_prefix(SECTIONS) {
        Some(key) => body.get("sections").and_then(|sections| sections.get(key)),
        None => body.get(field),
    };
    found.cloned().unwrap_or(Value::Null)
}

/// Puts a value into a field; null takes it out.
pub(in crate::flows) fn put(body: &mut Value, field: &str, value: &Value) {
    let Some(fields) = body.as_object_mut() else { return };
    let Some(key) = field.strip_prefix(SECTIONS) else {
        return put_in(fields, field, value);
    };
    let sections = fields.entry("sections").or_insert_with(|| Value::Object(Map::new()));
    if let Some(sections) = sections.as_object_mut() {
        put_in(sections, key, value);
        if sections.is_empty() {
            fields.remove("sections");
        }
    }
}

fn put_in(fields: &mut Map<String, Value>, name: &str, value: &Value) {
    if value.is_null() {
        fields.remove(name);
    } else {
        fields.insert(name.to_owned(), value.clone());
    }
}

/// Refuses a body that has become none of its kind, or whose fields are out of bounds.
pub(in crate::flows) fn check(kind: Kind, body: &Value) -> Result<(), Error> {
    checks::check(&document::read(kind, body.clone())?)
}

/// Fields written one at a time that differ between two bodies.
pub(in crate::flows) fn changed(kind: Kind, before: &Value, after: &Value) -> Vec<String> {
    let names = of_technicians(kind).iter().chain(of_the_office(kind)).map(|name| (*name).to_owned());
    let keys: BTreeSet<&String> = [before, after]
        .into_iter()
        .filter_map(|body| body.get("sections")?.as_object())
        .flat_map(Map::keys)
        .collect();
    let sections = keys.into_iter().filter(|_| kind == Kind::Job).map(|key| format!("{SECTIONS}{key}"));
    names.chain(sections).filter(|field| value_of(before, field) != value_of(after, field)).collect()
}

/// Refuses states of sections that the vehicle's class does not have, unless they were there before.
pub(in crate::flows) fn check_sections(
    before: Option<&Job>,
    after: &Job,
    class: &VehicleClass,
) -> Result<(), Error> {
    let old = |key: &str| before.and_then(|job| job.sections.get(key));
    match after.sections.iter().find(|(key, state)| old(key) != Some(state) && !has(class, key)) {
        None => Ok(()),
        Some((key, _)) => Err(no_such_section(key, class)),
    }
}

/// Whether a class has the section of a key, worked in a stage there is.
pub(in crate::flows) fn has(class: &VehicleClass, key: &str) -> bool {
    key.rsplit_once('/').is_some_and(|(section, stage)| {
        StageKind::from_word(stage).is_some() && class.sections.iter().any(|s| s.name == section)
    })
}

fn no_such_section(key: &str, class: &VehicleClass) -> Error {
    let known: Vec<&str> = class.sections.iter().map(|section| section.name.as_str()).collect();
    Error::invalid_at(
        "no_such_section",
        format!("/sections/{}", key.replace('~', "~0").replace('/', "~1")),
        format!(
            "States are kept by section/stage. The class {} has the sections: {}.",
            class.name,
            known.join(", ")
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_field_is_read_where_it_was_put() {
        let mut body = json!({"label": "P-1"});
        put(&mut body, "note", &json!("Gate code"));
        put(&mut body, "sections/hood/left/polishing", &json!("done"));
        assert_eq!(
            body,
            json!({"label": "P-1", "note": "Gate code", "sections": {"hood/left/polishing": "done"}})
        );
        assert_eq!(value_of(&body, "sections/hood/left/polishing"), "done");
        assert_eq!(section("sections/hood/left/polishing"), Some(("hood/left", "polishing")));
        put(&mut body, "sections/hood/left/polishing", &Value::Null);
        put(&mut body, "note", &Value::Null);
        assert_eq!(body, json!({"label": "P-1"}), "an empty map of sections is none");
        assert_eq!(value_of(&body, "note"), Value::Null);
    }

    #[test]
    fn only_fields_that_are_written_alone_are_named_as_changed() {
        let before = json!({"note": "a", "price_amount": "5", "sections": {"x/polishing": "done"}});
        let after = json!({"note": "b", "price_amount": "6", "sections": {"x/cutting": "done"}});
        let fields = changed(Kind::Job, &before, &after);
        assert_eq!(fields, ["note", "sections/x/cutting", "sections/x/polishing"]);
    }

    /// No technician writes what a technician may not read.
    #[test]
    fn nobody_writes_money_from_a_phone() {
        for kind in Kind::ALL {
            for field in kind.money() {
                assert!(!may_write(kind, field, Role::Owner), "{} {field}", kind.word());
            }
        }
        assert!(may_write(Kind::Client, "address", Role::Office));
        assert!(!may_write(Kind::Client, "address", Role::Technician));
        assert!(may_write(Kind::Job, "sections/hood/polishing", Role::Technician));
        assert!(!may_write(Kind::Job, "sections", Role::Technician));
    }
}
