//! A good body for what can be written, and how to send it, again and again.

use super::super::cards::creating::bodies as cards;
use super::{edit, settle_in};
use dropwise::ids::fresh;
use end_to_end::cards::{Cards, create, path};
use end_to_end::{Answer, Client, World};
use serde_json::{Value, json};
use std::cell::{Cell, RefCell};
use uuid::Uuid;

/// Sends a body, each time as something new.
type Send = Box<dyn Fn(&[u8]) -> Answer>;

/// One thing to write.
pub(super) struct Attempt {
    /// For messages.
    pub(super) what: String,
    /// A body that is taken.
    pub(super) body: Value,
    /// Sends a body, each time as something new.
    pub(super) send: Send,
}

const JSON: (&str, &str) = ("content-type", "application/json");

/// Everything that is broken here, in fleets of its own.
pub(super) fn attempts(world: &World) -> Vec<Attempt> {
    let mut all = of_cards(world);
    all.extend(of_entries(world));
    all.extend(of_phones(world));
    all.extend(of_members(world));
    all
}

fn put(client: &Client, folder: &'static str) -> Send {
    let client = client.clone();
    Box::new(move |body| client.send("PUT", &format!("/v1/{folder}/{}", fresh()), &[JSON], Some(body)))
}

fn of_cards(world: &World) -> Vec<Attempt> {
    let fleet = world.fleet("cards");
    let office = fleet.as_owner();
    let of = Cards::create(&office);
    let mut all: Vec<Attempt> = cards(&of)
        .into_iter()
        .map(|(kind, body)| Attempt {
            what: format!("create_card {kind}"),
            body: json!({"kind": kind, "body": body}),
            send: put(&office, "cards"),
        })
        .collect();
    let edited = cards(&of).into_iter().filter(|(kind, _)| ["item", "recipe", "job"].contains(kind));
    for (kind, body) in edited {
        let (office, id) = (office.clone(), create(&office, kind, &body));
        // Sent to a card that may have become another meanwhile: the whole body, so that it fits again.
        let send = move |body: &[u8]| edit(&office, &path(id), body);
        all.push(Attempt { what: format!("edit_card {kind}"), body, send: Box::new(send) });
    }
    all
}

fn of_entries(world: &World) -> Vec<Attempt> {
    let fleet = world.fleet("entries");
    let office = fleet.as_owner();
    let of = Cards::create(&office);
    let entry = |kind: &str, body: Value| json!({"kind": kind, "form": 1, "happened_at": "2026-03-02T16:00:00Z", "body": body});
    let book = |kind: &str, body: Value| {
        let id = fresh();
        let answer = office.put(&format!("/v1/entries/{id}"), &entry(kind, body)).expect(200);
        assert_eq!(answer.json()["verdict"], "taken", "{}", answer.text());
        id
    };
    let _ = book(
        "receipt",
        json!({"item_id": of.product, "place_id": of.van, "quantity": "5000", "total_amount": "90"}),
    );
    let _ = book(
        "receipt",
        json!({"item_id": of.pad_model, "place_id": of.van, "quantity": "50", "total_amount": "400"}),
    );
    let _ = book("container_open", json!({"container_id": of.container}));
    let time = json!({"job_id": of.job, "what": "job", "starts_at": "2026-03-02T15:00:00Z", "ends_at": "2026-03-02T15:30:00Z"});
    let bodies = [
        (
            "section_work",
            json!({"job_id": of.job, "section": "hood", "stage": "polishing", "pad_id": of.pad, "machine_id": of.machine,
                   "machine_min": "6", "doses": [{"container_id": of.container, "count": 4}],
                   "supplies": [{"item_id": of.supply, "quantity": "1"}]}),
        ),
        ("weigh_in", json!({"container_id": of.container, "gross_g": "560"})),
        ("pad_wash", json!({"pad_id": of.pad})),
        (
            "receipt",
            json!({"item_id": of.supply, "place_id": of.depot, "quantity": "10", "total_amount": "12"}),
        ),
        (
            "stock_move",
            json!({"item_id": of.supply, "from_place_id": of.depot, "to_place_id": of.van, "quantity": "1"}),
        ),
        ("stock_count", json!({"item_id": of.supply, "place_id": of.depot, "counted": "7"})),
        ("work_time", time.clone()),
        ("trip", json!({"place_id": of.van, "job_id": of.job, "distance_km": "12.5"})),
    ];
    bodies
        .into_iter()
        .map(|(kind, body)| Attempt {
            what: format!("record_entry {kind}"),
            body: entry(kind, body),
            send: put(&office, "entries"),
        })
        .collect()
}

fn of_phones(world: &World) -> Vec<Attempt> {
    let fleet = world.fleet("phones");
    let of = Cards::create(&fleet.as_office());
    settle_in(world, &fleet, of.van);
    let technician = fleet.as_technician();
    // A lane that was handed something odd under a number it had used is frozen: each body gets its own.
    let sql = "insert into lanes (fleet_id, lane_id, member_id, name, enrolled_at) \
               select $1, gen_random_uuid(), $2, 'A phone of the tests', now() from generate_series(1, 2000) \
               returning lane_id";
    let lanes = world.db.as_owner().query(sql, &[&fleet.id.0, &fleet.technician.id.0]).unwrap();
    let mut lanes = lanes.into_iter().map(|row| row.get::<_, Uuid>(0)).collect::<Vec<_>>();
    let (lane, entry_id) = (lanes.pop().unwrap(), fresh());
    let lanes = RefCell::new(lanes);
    let work = json!({"job_id": of.job, "section": "roof", "stage": "polishing", "pad_id": of.pad});
    let entry = json!({"n": 1, "id": entry_id, "kind": "section_work", "form": 1,
                       "happened_at": "2026-03-02T16:00:00Z", "body": work});
    let (enrolling, handing) = (technician.clone(), technician);
    vec![
        Attempt {
            what: "enrol_device".into(),
            body: json!({"name": "Another phone"}),
            send: put(&enrolling, "devices"),
        },
        Attempt {
            what: "hand_over".into(),
            body: json!({"lane_id": lane, "entries": [entry]}),
            send: Box::new(move |body| {
                let (lane, next) = (lane.to_string(), lanes.borrow_mut().pop().unwrap().to_string());
                let text = std::str::from_utf8(body).unwrap();
                let text = text.replace(&lane, &next).replace(&entry_id.to_string(), &fresh().to_string());
                handing.send("POST", "/v1/device/handover", &[JSON], Some(text.as_bytes()))
            }),
        },
    ]
}

fn of_members(world: &World) -> Vec<Attempt> {
    let fleet = world.fleet("members");
    let owner = fleet.as_owner();
    let of = Cards::create(&owner);
    let (changing, paying) = (owner.clone(), owner.clone());
    let technician = format!("/v1/members/{}", fleet.technician.id);
    let rates = format!("{technician}/pay-rates");
    let day = Cell::new(chrono::NaiveDate::from_ymd_opt(2026, 1, 1).unwrap());
    vec![
        Attempt {
            what: "create_member".into(),
            body: json!({"handle": "rosa", "name": "Rosa of the tests", "role": "technician", "home_place_id": of.van}),
            send: put(&owner, "members"),
        },
        Attempt {
            what: "edit_member".into(),
            body: json!({"handle": "ida", "name": "Ida of the tests", "role": "technician", "home_place_id": of.depot}),
            send: Box::new(move |body| edit(&changing, &technician, body)),
        },
        Attempt {
            what: "add_pay_rate".into(),
            body: json!({"hourly_amount": "24.5", "burden_share": "0.18"}),
            send: Box::new(move |body| {
                day.set(day.get().succ_opt().unwrap());
                paying.send("PUT", &format!("{rates}/{}", day.get()), &[JSON], Some(body))
            }),
        },
    ]
}
