//! What a phone does to read: rows by audience, kind and record, the higher position kept.

use dropwise::ids::fresh;
use dropwise::store::{Db, TrailRow};
use end_to_end::{Answer, Client, Fleet, World};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::time::Duration;
use uuid::Uuid;

/// What a row is kept under.
pub(super) type Key = (String, String, String);

/// A phone's own picture of the trail.
#[derive(Debug, Clone, Default)]
pub(super) struct Reader {
    pub(super) rows: BTreeMap<Key, Value>,
    pub(super) bookmark: Option<String>,
    /// Every position in the order it was read in the trail.
    pub(super) positions: Vec<i64>,
}

impl Reader {
    /// Keeps rows; one that has left or was deleted goes.
    pub(super) fn keep(&mut self, page: &Value) {
        for row in page["rows"].as_array().expect("rows") {
            let key = key(row);
            let newer = self.rows.get(&key).is_none_or(|held| position(held) < position(row));
            if newer && row["state"] == "here" {
                self.rows.insert(key, row.clone());
            } else if newer {
                self.rows.remove(&key);
            }
        }
    }

    pub(super) fn ask(&self, client: &Client, more: &str) -> Answer {
        let after = self.bookmark.as_ref().map_or_else(String::new, |b| format!("&after={b}"));
        patient(client, &format!("/v1/device/trail?room=500{after}{more}"))
    }

    /// Reads the trail to its end from where it is.
    pub(super) fn read_on(&mut self, client: &Client) {
        loop {
            let page = self.ask(client, "").expect(200).json();
            self.keep(&page);
            self.positions.extend(page["rows"].as_array().expect("rows").iter().map(position));
            self.bookmark = page["bookmark"].as_str().map(str::to_owned);
            if page["more"] == false {
                return;
            }
        }
    }

    /// Copies everything anew, then reads on.
    pub(super) fn fresh_copy(client: &Client) -> Self {
        let mut reader = Self::default();
        reader.copy(client, "");
        reader.read_on(client);
        reader
    }

    /// Takes a fresh copy to its last page.
    pub(super) fn copy(&mut self, client: &Client, begin: &str) {
        let mut next = format!("/v1/device/fresh-copy?room=500{begin}");
        loop {
            let page = patient(client, &next).expect(200).json();
            self.keep(&page);
            if let Some(token) = page["token"].as_str() {
                assert_eq!(page["bookmark"], json!(null), "only the last page says where to go on");
                next = format!("/v1/device/fresh-copy?room=500&token={token}");
            } else {
                self.bookmark = page["bookmark"].as_str().map(str::to_owned);
                assert!(self.bookmark.is_some());
                return;
            }
        }
    }

    pub(super) fn forget(&mut self, audiences: &Value) {
        for audience in audiences.as_array().expect("drop") {
            self.rows.retain(|(held, _, _), _| held != audience.as_str().expect("an id"));
        }
    }

    /// What it holds, positions left out.
    pub(super) fn picture(&self) -> BTreeMap<Key, Value> {
        self.rows.iter().map(|(key, row)| (key.clone(), row["body"].clone())).collect()
    }

    pub(super) fn has(&self, audience: Uuid, kind: &str, record: Uuid) -> bool {
        self.rows.contains_key(&(audience.to_string(), kind.to_owned(), record.to_string()))
    }
}

/// Asks as a phone does: told to try later, it does.
pub(super) fn patient(client: &Client, path: &str) -> Answer {
    for _ in 0..40 {
        let answer = client.get(path);
        if answer.status != 503 {
            return answer;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    client.get(path)
}

pub(super) fn key(row: &Value) -> Key {
    let text = |name: &str| row[name].as_str().expect("text").to_owned();
    (text("audience_id"), text("kind"), text("id"))
}

pub(super) fn position(row: &Value) -> i64 {
    row["position"].as_i64().expect("a position")
}

/// Tells rows of the fleet's audience in one transaction, by the store the server uses.
pub(super) fn tell(world: &World, fleet: &Fleet, rows: Vec<TrailRow>) {
    let url = world.db.server_url();
    let id = fleet.id;
    actix_web::rt::System::new().block_on(async move {
        let db = Db::open(&url, 1).expect("a pool");
        let told = db.write("tell", id, async move |tx| {
            rows.iter().cloned().for_each(|row| tx.tell(row));
            Ok(())
        });
        told.await.expect("a commit");
    });
}

/// So many new records for everyone, with a body of some bytes.
pub(super) fn new_rows(fleet: &Fleet, count: usize, bytes: usize) -> Vec<TrailRow> {
    let body = json!({"note": "x".repeat(bytes)});
    (0..count).map(|_| TrailRow::here(fleet.id.0, "entry", fresh(), body.clone())).collect()
}

/// A problem's stable word, next step and audiences to forget.
pub(super) fn stop(answer: Answer) -> (String, String, Value) {
    let problem = answer.expect(410).json();
    let text = |name: &str| problem[name].as_str().expect("text").to_owned();
    (text("code"), text("next"), problem["drop"].clone())
}
