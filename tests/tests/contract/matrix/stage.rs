//! Two fleets in one world, with everything an operation may ask for made anew for each call.

use crate::contract::openapi::{document, operations};
use chrono::{DateTime, Duration, Utc};
use dropwise::auth::password::Hasher;
use dropwise::auth::refresh::RefreshToken;
use dropwise::config::HashingConfig;
use dropwise::ids::{SessionId, fresh};
use end_to_end::cards::Cards;
use end_to_end::files::Sending;
use end_to_end::fleet::Person;
use end_to_end::server::parts;
use end_to_end::{Client, Fleet, TestServer, World};
use serde_json::{Value, json};
use std::cell::RefCell;
use std::sync::OnceLock;
use uuid::Uuid;

/// What everyone's password is here.
pub(super) const PASSWORD: &str = "nine small boats at anchor";

/// Whose record a call is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Whose {
    Ours,
    Theirs,
    Nobodys,
}

/// Who calls.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Actor {
    Nobody,
    Technician,
    Office,
    Owner,
}

impl Actor {
    pub(super) const ALL: [Self; 4] = [Self::Nobody, Self::Technician, Self::Office, Self::Owner];

    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Nobody => "nobody",
            Self::Technician => "technician",
            Self::Office => "office",
            Self::Owner => "owner",
        }
    }
}

/// One operation of the document.
#[derive(Debug, Clone)]
pub(super) struct Operation {
    pub(super) id: String,
    pub(super) method: String,
    pub(super) path: String,
    pub(super) roles: Vec<String>,
    pub(super) statuses: Vec<String>,
}

impl Operation {
    /// Whether this actor may call it.
    pub(super) fn admits(&self, actor: Actor) -> bool {
        self.roles.iter().any(|role| role == "nobody" || role == actor.word())
    }
}

/// Every operation.
pub(super) fn all_operations() -> Vec<Operation> {
    let words = |value: &Value| {
        value.as_array().into_iter().flatten().filter_map(Value::as_str).map(str::to_owned).collect()
    };
    let all: Vec<Operation> = operations(&document())
        .into_iter()
        .map(|(path, method, operation)| Operation {
            id: operation["operationId"].as_str().expect("an id").to_owned(),
            method: method.to_uppercase(),
            path,
            roles: words(&operation["x-roles"]),
            statuses: operation["responses"].as_object().expect("responses").keys().cloned().collect(),
        })
        .collect();
    assert!(all.len() > 5, "the document was not read right");
    all
}

/// Two fleets side by side.
pub(super) struct Stage {
    pub(super) world: World,
    pub(super) ours: Fleet,
    pub(super) theirs: Fleet,
    pub(super) cards: Cards,
    their_cards: Cards,
    /// Where what is tried is sent, when that is not the world's own server.
    tried: Option<TestServer>,
    /// The tables' owner: signing in to Postgres anew for each call would take longer than the call.
    owner: RefCell<postgres::Client>,
}

impl Stage {
    /// A stage at a standing clock, so that equal answers are equal to the byte.
    pub(super) fn set() -> Self {
        let at: DateTime<Utc> = "2026-06-10T15:00:00Z".parse().expect("an instant");
        let world = World::at(at);
        let (ours, theirs) = (world.fleet("ours"), world.fleet("theirs"));
        let (cards, their_cards) = (Cards::create(&ours.as_office()), Cards::create(&theirs.as_office()));
        // Their month has something to tell: revenue counts once the work is done.
        end_to_end::cards::edit(&theirs.as_office(), their_cards.job, &json!({"state": "finished"}));
        let mut owner = world.db.as_owner();
        owner
            .execute(
                "update members set home_place_id = $1 where member_id = $2",
                &[&cards.van, &ours.technician.id.0],
            )
            .expect("a technician's van");
        owner
            .execute(
                "insert into passwords (fleet_id, member_id, phc, changed_at)
                      select fleet_id, member_id, $1, $2 from members",
                &[&phc(), &at],
            )
            .expect("passwords");
        Self { world, ours, theirs, cards, their_cards, tried: None, owner: RefCell::new(owner) }
    }

    /// The same stage, tried through another server on the same database: what is set up and made anew
    /// for a call still comes by the world's own.
    pub(super) fn tried_by(self, server_url: &str) -> Self {
        let parts = parts(server_url, &self.world.clock, 1);
        Self { tried: Some(TestServer::start_parts(parts)), ..self }
    }

    /// A fresh sign-in of an actor of our fleet, so that no call hangs on what an earlier one ended.
    pub(super) fn client(&self, actor: Actor) -> Client {
        let client = Client::new(self.tried.as_ref().unwrap_or(&self.world.server).address);
        match self.person(actor) {
            None => client,
            Some(person) => client.with_token(self.ours.token(self.signed_in_anew(&self.ours, person))),
        }
    }

    /// Every id that only the other fleet has: none of them may be told to ours.
    pub(super) fn their_ids(&self) -> Vec<String> {
        let sql = "with ids as (select fleet_id, card_id id from cards
                       union all select fleet_id, member_id from members
                       union all select fleet_id, entry_id from entries
                       union all select fleet_id, lane_id from lanes
                       union all select fleet_id, session_id from sessions)
                   select id::text from ids where fleet_id = $1
                   except select id::text from ids where fleet_id = $2";
        let rows = self.owner.borrow_mut().query(sql, &[&self.theirs.id.0, &self.ours.id.0]);
        rows.expect("their ids").iter().map(|row| row.get(0)).collect()
    }

    pub(super) fn person(&self, actor: Actor) -> Option<Person> {
        match actor {
            Actor::Nobody => None,
            Actor::Technician => Some(self.ours.technician),
            Actor::Office => Some(self.ours.office),
            Actor::Owner => Some(self.ours.owner),
        }
    }

    /// A fresh sign-in of a fleet's owner.
    pub(super) fn owner_of(&self, fleet: &Fleet) -> Client {
        fleet.ask(self.signed_in_anew(fleet, fleet.owner))
    }

    fn signed_in_anew(&self, fleet: &Fleet, person: Person) -> Person {
        let session = SessionId(fresh());
        let now = self.world.clock.now();
        let hash = RefreshToken::first(fleet.id, session).expect("randomness").hash();
        let mut owner = self.owner.borrow_mut();
        owner
            .execute("insert into sessions (fleet_id, session_id, member_id, current_hash, rotated_at, started_at, ends_at)
                      values ($1, $2, $3, $4, $5, $5, $6)",
                     &[&fleet.id.0, &session.0, &person.id.0, &hash, &now, &(now + Duration::days(30))])
            .expect("a session");
        // A call may have changed who this is: back to what they were.
        owner.execute("update passwords set phc = $1", &[&phc()]).expect("passwords");
        Person { id: person.id, session }
    }

    fn of(&self, whose: Whose) -> Option<&Fleet> {
        match whose {
            Whose::Ours => Some(&self.ours),
            Whose::Theirs => Some(&self.theirs),
            Whose::Nobodys => None,
        }
    }

    /// A card nothing hangs on: one of ours, one of theirs, or an id of none.
    pub(super) fn card(&self, whose: Whose) -> Uuid {
        self.of(whose).map_or_else(fresh, |fleet| {
            let id = fresh();
            let body = json!({"kind": "place", "body": {"name": "Spare", "what": "depot"}});
            self.owner_of(fleet).put(&format!("/v1/cards/{id}"), &body).expect(201);
            id
        })
    }

    /// A card that may be deleted: one of ours, one of theirs, or an id of none.
    pub(super) fn draft(&self, whose: Whose) -> Uuid {
        self.of(whose).map_or_else(fresh, |fleet| {
            let id = fresh();
            let body = json!({"kind": "service", "body": {"name": "Never sold"}});
            self.owner_of(fleet).put(&format!("/v1/cards/{id}"), &body).expect(201);
            id
        })
    }

    /// A value that lost to a later one.
    pub(super) fn lost_value(&self, whose: Whose) -> Uuid {
        self.of(whose).map_or_else(fresh, |fleet| {
            let (id, card) = (fresh(), self.draft(whose));
            self.world
                .db
                .as_owner()
                .execute(
                    "insert into field_history (fleet_id, value_id, card_id, field, value, stamp, lane_id,
                          member_id, outcome, at) values ($1, $2, $3, 'note', '\"x\"', '1772478000000-00000',
                          $2, $4, 'lost', $5)",
                    &[&fleet.id.0, &id, &card, &fleet.owner.id.0, &self.world.clock.now()],
                )
                .expect("a lost value");
            id
        })
    }

    /// The cards a fleet works with; nobody has none.
    pub(super) fn cards_of(&self, whose: Whose) -> Option<&Cards> {
        match whose {
            Whose::Ours => Some(&self.cards),
            Whose::Theirs => Some(&self.their_cards),
            Whose::Nobodys => None,
        }
    }

    /// A member nobody needs.
    pub(super) fn member(&self, whose: Whose) -> Uuid {
        self.of(whose).map_or_else(fresh, |fleet| {
            let id = fresh();
            let handle = format!("m-{}", &id.simple().to_string()[20..]);
            let body = json!({"handle": handle, "name": "Spare", "role": "technician"});
            self.owner_of(fleet).put(&format!("/v1/members/{id}"), &body).expect_any(&[200, 201]);
            id
        })
    }

    /// An entry of the owner's.
    pub(super) fn entry(&self, whose: Whose) -> Uuid {
        self.of(whose).map_or_else(fresh, |fleet| {
            let id = fresh();
            self.owner_of(fleet).put(&format!("/v1/entries/{id}"), &self.work_time()).expect(200);
            id
        })
    }

    /// A lane: one to be enrolled, one the other fleet has, or any.
    pub(super) fn lane(&self, whose: Whose) -> Uuid {
        let id = fresh();
        if whose == Whose::Theirs {
            self.owner_of(&self.theirs)
                .put(&format!("/v1/devices/{id}"), &json!({"name": "Phone"}))
                .expect_any(&[200, 201]);
        }
        id
    }

    /// An entry of the owner's that is parked.
    pub(super) fn parked(&self, whose: Whose) -> Uuid {
        self.of(whose).map_or_else(fresh, |fleet| {
            let (lane, id) = (fresh(), fresh());
            let phone = self.owner_of(fleet);
            phone.put(&format!("/v1/devices/{lane}"), &json!({"name": "Phone"})).expect_any(&[200, 201]);
            let mut entry = self.work_time();
            entry["n"] = json!(1);
            entry["id"] = json!(id);
            entry["kind"] = json!("pad_dream");
            phone.post("/v1/device/handover", &json!({"lane_id": lane, "entries": [entry]})).expect(200);
            id
        })
    }

    /// A photo as far as an operation needs it: announced, sent or kept; another fleet's is kept there.
    pub(super) fn file(&self, whose: Whose, actor: Actor, operation: &str) -> Sending {
        let file = Sending::photo();
        match (whose, actor) {
            (Whose::Nobodys, _) | (Whose::Ours, Actor::Nobody) => {}
            (Whose::Theirs, _) => {
                file.send(&self.owner_of(&self.theirs)).expect(200);
            }
            (Whose::Ours, _) => {
                let client = self.client(actor);
                if operation != "reserve_file" {
                    file.reserve(&client).expect(201);
                }
                if operation == "finish_file" || operation == "read_file" {
                    file.append(&client, 0, &file.bytes).expect(200);
                }
                if operation == "read_file" {
                    file.finish(&client).expect(200);
                }
            }
        }
        file
    }

    /// A fact anyone may record.
    pub(super) fn work_time(&self) -> Value {
        let at = self.world.clock.now();
        let start = at - Duration::hours(1);
        json!({"kind": "work_time", "happened_at": at, "body": {"starts_at": start, "ends_at": at, "what": "shop"}})
    }
}

/// The hash of [`PASSWORD`], made once.
fn phc() -> String {
    static PHC: OnceLock<String> = OnceLock::new();
    let make = || {
        let hasher = Hasher::new(HashingConfig::default(), 1).expect("a hasher");
        let hash = end_to_end::db::on_runtime(hasher.hash(PASSWORD.to_owned().into()));
        hash.expect("a hash")
    };
    PHC.get_or_init(make).clone()
}
