//! How each operation is called so that it succeeds, when whoever calls may.

use super::stage::{Actor, Operation, PASSWORD, Stage, Whose};
use dropwise::ids::fresh;
use end_to_end::{Answer, Client};
use serde_json::{Value, json};
use uuid::Uuid;

/// A request ready to be sent.
#[derive(Debug, Clone)]
pub(super) struct Call {
    pub(super) method: String,
    pub(super) path: String,
    pub(super) headers: Vec<(&'static str, String)>,
    pub(super) body: Option<Value>,
    /// Bytes in its place, where that is what is sent.
    pub(super) bytes: Option<Vec<u8>>,
    /// What in it differs from call to call.
    pub(super) fresh: Vec<String>,
}

impl Call {
    /// Sends it.
    pub(super) fn send(&self, client: &Client) -> Answer {
        let headers: Vec<(&str, &str)> =
            self.headers.iter().map(|(name, value)| (*name, value.as_str())).collect();
        if let Some(bytes) = &self.bytes {
            let kind = ("content-type", "application/octet-stream");
            let headers: Vec<_> = headers.into_iter().chain([kind]).collect();
            return client.send(&self.method, &self.path, &headers, Some(bytes));
        }
        match &self.body {
            Some(body) => client.send_json(&self.method, &self.path, &headers, body),
            None => client.send(&self.method, &self.path, &headers, None),
        }
    }
}

/// The call of an operation about a record of `whose`, by `actor` of our fleet. `None` when it names
/// no record and `whose` is therefore no question.
pub(super) fn call(stage: &Stage, operation: &Operation, actor: Actor, whose: Whose) -> Option<Call> {
    let mut path = operation.path.clone();
    let mut ids = Vec::new();
    let mut headers = Vec::new();
    let mut bytes = None;
    let named = |path: &mut String, part: &str, id: Uuid, ids: &mut Vec<String>| {
        assert!(path.contains(part), "{path} has no {part}");
        *path = path.replace(part, &id.to_string());
        ids.push(id.to_string());
    };
    let body = match operation.id.as_str() {
        // Nothing to name.
        "read_liveness"
        | "read_readiness"
        | "read_self"
        | "list_members"
        | "list_devices"
        | "list_security_notes"
        | "list_entries"
        | "list_parked"
        | "read_trail"
        | "read_fresh_copy"
        | "read_limits"
        | "read_signal"
        | "end_session"
        | "list_container_levels"
        | "list_pad_states"
        | "list_worksheets" => {
            none_named(whose)?;
            None
        }
        "read_month" => {
            none_named(whose)?;
            path = path.replace("{month}", "2026-03");
            None
        }
        "read_job_costs" | "list_job_files" => {
            named(&mut path, "{id}", stage.cards_of(whose).map_or_else(fresh, |cards| cards.job), &mut ids);
            None
        }
        "list_run_outs" => {
            named(&mut path, "{id}", stage.cards_of(whose).map_or_else(fresh, |cards| cards.van), &mut ids);
            None
        }
        "compute_worksheet" => {
            none_named(whose)?;
            path = path.replace("{method}", "dilution");
            Some(json!({"product_parts": "1", "water_parts": "4", "ready_to_use_us_fl_oz": "32"}))
        }
        "read_catch_up" => {
            none_named(whose)?;
            path += "?kinds=place";
            None
        }
        "list_cards" => {
            none_named(whose)?;
            path += "?kind=place";
            None
        }
        "create_session" => {
            none_named(whose)?;
            Some(json!({"fleet": "ours", "member": "office", "password": PASSWORD}))
        }
        "refresh_session" => {
            none_named(whose)?;
            let enter = json!({"fleet": "ours", "member": "office", "password": PASSWORD});
            let session = stage.world.as_nobody().post("/v1/sessions", &enter).expect(201).json();
            Some(json!({"refresh_token": session["refresh_token"]}))
        }
        "claim_member" => {
            none_named(whose)?;
            let member = stage.member(Whose::Ours);
            let code = stage.owner_of(&stage.ours).send(
                "POST",
                &format!("/v1/members/{member}/entry-code"),
                &[],
                None,
            );
            let code = code.expect_any(&[200, 201]).json();
            Some(json!({"fleet": "ours", "code": code["code"], "password": PASSWORD}))
        }
        "change_password" => {
            none_named(whose)?;
            Some(json!({"current_password": PASSWORD, "new_password": "seven slow tides returning"}))
        }
        "create_card" => {
            let id = if whose == Whose::Theirs { stage.card(whose) } else { fresh() };
            named(&mut path, "{id}", id, &mut ids);
            Some(json!({"kind": "place", "body": {"name": "New", "what": "depot"}}))
        }
        "read_card" => {
            named(&mut path, "{id}", stage.card(whose), &mut ids);
            None
        }
        "edit_card" => {
            named(&mut path, "{id}", stage.card(whose), &mut ids);
            headers.push(("if-match", "\"1\"".to_owned()));
            Some(json!({"name": "Renamed"}))
        }
        "retire_card" => {
            named(&mut path, "{id}", stage.card(whose), &mut ids);
            headers.push(("if-match", "\"1\"".to_owned()));
            None
        }
        "delete_card" => {
            named(&mut path, "{id}", stage.draft(whose), &mut ids);
            headers.push(("if-match", "\"1\"".to_owned()));
            None
        }
        "list_lost_values" => {
            none_named(whose)?;
            None
        }
        "decide_lost_value" => {
            named(&mut path, "{id}", stage.lost_value(whose), &mut ids);
            Some(json!({"decision": "keep"}))
        }
        "create_member" => {
            let id = if whose == Whose::Theirs { stage.member(whose) } else { fresh() };
            named(&mut path, "{id}", id, &mut ids);
            let handle = format!("n-{}", &fresh().simple().to_string()[20..]);
            ids.push(handle.clone());
            Some(json!({"handle": handle, "name": "New", "role": "technician"}))
        }
        "read_member" | "make_entry_code" | "list_pay_rates" => {
            named(&mut path, "{id}", stage.member(whose), &mut ids);
            None
        }
        "edit_member" => {
            named(&mut path, "{id}", stage.member(whose), &mut ids);
            headers.push(("if-match", "\"1\"".to_owned()));
            Some(json!({"name": "Renamed"}))
        }
        "retire_member" => {
            named(&mut path, "{id}", stage.member(whose), &mut ids);
            headers.push(("if-match", "\"1\"".to_owned()));
            None
        }
        "add_pay_rate" => {
            named(&mut path, "{id}", stage.member(whose), &mut ids);
            path = path.replace("{from_on}", "2026-01-01");
            Some(json!({"hourly_amount": "7391.17", "burden_share": "0.2"}))
        }
        "enrol_device" => {
            named(&mut path, "{lane_id}", stage.lane(whose), &mut ids);
            Some(json!({"name": "Phone"}))
        }
        "record_entry" => {
            let id = if whose == Whose::Theirs { stage.entry(whose) } else { fresh() };
            named(&mut path, "{id}", id, &mut ids);
            Some(stage.work_time())
        }
        "read_entry" => {
            named(&mut path, "{id}", stage.entry(whose), &mut ids);
            None
        }
        "decide_parked" => {
            named(&mut path, "{id}", stage.parked(whose), &mut ids);
            Some(json!({"decision": "drop", "reason": "unknown_kind"}))
        }
        "hand_over" => {
            let lane = stage.lane(whose);
            if whose == Whose::Ours && actor != Actor::Nobody {
                let enrolled =
                    stage.client(actor).put(&format!("/v1/devices/{lane}"), &json!({"name": "Phone"}));
                enrolled.expect_any(&[200, 201]);
            }
            ids.push(lane.to_string());
            let mut entry = stage.work_time();
            entry["n"] = json!(1);
            let id = fresh();
            ids.push(id.to_string());
            entry["id"] = json!(id);
            Some(json!({"lane_id": lane, "entries": [entry]}))
        }
        "reserve_file" | "append_part" | "finish_file" | "read_file" => {
            let file = stage.file(whose, actor, &operation.id);
            path = path.replace("{sha256}", &file.sha256).replace("{offset}", "0");
            ids.push(file.sha256.clone());
            bytes = (operation.id == "append_part").then(|| file.bytes.clone());
            (operation.id == "reserve_file").then(|| file.wish())
        }
        other => panic!("say here how {other} ({} {}) is called", operation.method, operation.path),
    };
    assert!(!path.contains('{'), "{path}: a part was not named");
    Some(Call { method: operation.method.clone(), path, headers, body, bytes, fresh: ids })
}

/// An operation that names no record is tried once, as ours.
fn none_named(whose: Whose) -> Option<()> {
    (whose == Whose::Ours).then_some(())
}
