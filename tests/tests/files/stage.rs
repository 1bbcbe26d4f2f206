//! A fleet with a job, whose files lie in a folder of the test's own.

use chrono::{DateTime, Utc};
use dropwise::clock::Clock;
use dropwise::flows::files::{Cabinet, check, sweep};
use dropwise::ids::fresh;
use dropwise::store::Db;
use end_to_end::cards::Cards;
use end_to_end::files::Sending;
use end_to_end::server::{cabinet, parts};
use end_to_end::{Client, Fleet, TestDb, TestServer};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// Fields drop in this order: the server first.
pub struct Stage {
    pub server: TestServer,
    pub fleet: Fleet,
    pub cards: Cards,
    pub db: TestDb,
    pub clock: Clock,
    pub cabinet: Cabinet,
    pub folder: tempfile::TempDir,
}

impl Stage {
    /// Files in a folder.
    pub fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let cabinet = cabinet(&folder.path().join("files").display().to_string());
        Self::with(cabinet, folder)
    }

    /// Files in any cabinet.
    pub fn with(cabinet: Cabinet, folder: tempfile::TempDir) -> Self {
        let clock = Clock::set_to(now());
        let db = TestDb::fresh();
        let server = serve(&db, &clock, &cabinet);
        let client = Client::new(server.address);
        let fleet = Fleet::found(&db.server_url(), &clock, client, "harbour");
        let cards = Cards::create(&fleet.as_office());
        settle(&db, &fleet, cards.van);
        Self { server, fleet, cards, db, clock, cabinet, folder }
    }

    pub fn technician(&self) -> Client {
        self.fleet.as_technician()
    }

    pub fn office(&self) -> Client {
        self.fleet.as_office()
    }

    /// Records a photo of a job, and answers the entry.
    #[track_caller]
    pub fn photograph(&self, client: &Client, job: Uuid, sha256: &str) -> Uuid {
        let id = fresh();
        let _ = client.put(&format!("/v1/entries/{id}"), &photo(job, sha256)).expect(200);
        id
    }

    /// The files of the job, as the office sees them.
    #[track_caller]
    pub fn job_files(&self, query: &str) -> Vec<Value> {
        let answer = self.office().get(&format!("/v1/jobs/{}/files{query}", self.cards.job)).expect(200);
        answer.json()["rows"].as_array().expect("rows").clone()
    }

    /// Every blob in the folder, named from there.
    pub fn blobs(&self) -> Vec<PathBuf> {
        let mut found = Vec::new();
        walk(&self.folder.path().join("files"), &mut found);
        found
    }

    /// The whole files among them.
    pub fn kept_blobs(&self) -> Vec<PathBuf> {
        self.blobs()
            .into_iter()
            .filter(|path| path.components().any(|part| part.as_os_str() == "kept"))
            .collect()
    }

    pub fn count(&self, table: &str) -> i64 {
        self.db.as_owner().query_one(&format!("select count(*) from {table}"), &[]).expect("a count").get(0)
    }

    /// What an audit finds wrong, and about what first.
    pub fn wrong(&self) -> Vec<String> {
        let (url, fleet, cabinet) = (self.db.server_url(), self.fleet.id, self.cabinet.clone());
        let findings = actix_web::rt::System::new().block_on(async move {
            let db = Db::open(&url, 1).expect("a pool");
            check::whole(&db, &cabinet, fleet).await.expect("an audit")
        });
        assert_eq!(findings.len(), 3);
        let wrong = findings.into_iter().filter(|finding| finding.compared.wrong > 0);
        wrong.map(|finding| format!("{}: {}", finding.what, finding.first.unwrap_or_default())).collect()
    }

    /// One turn of the sweep, at the time of the stage.
    pub fn sweep(&self) -> sweep::Swept {
        let (url, fleet, cabinet, now) =
            (self.db.server_url(), self.fleet.id, self.cabinet.clone(), self.fleet.now());
        actix_web::rt::System::new().block_on(async move {
            let db = Db::open(&url, 1).expect("a pool");
            sweep::turn(&db, &cabinet, fleet, now).await.expect("a sweep")
        })
    }

    /// Sends a photo whole and answers it.
    #[track_caller]
    pub fn kept_photo(&self, client: &Client) -> Sending {
        let photo = Sending::photo();
        assert_eq!(photo.send(client).expect(200).json()["state"], "kept");
        photo
    }
}

/// 2 March 2026, 14:00 in Denver.
pub fn now() -> DateTime<Utc> {
    "2026-03-02T21:00:00Z".parse().expect("an instant")
}

pub fn serve(db: &TestDb, clock: &Clock, cabinet: &Cabinet) -> TestServer {
    TestServer::start_parts(dropwise::server::Parts {
        files: cabinet.clone(),
        ..parts(&db.server_url(), clock, 1)
    })
}

/// The technician works from that van. Said before they first ask: what is known of them is kept for seconds.
pub fn settle(db: &TestDb, fleet: &Fleet, van: Uuid) {
    let sql = "update members set home_place_id = $3 where fleet_id = $1 and member_id = $2";
    let changed = db.as_owner().execute(sql, &[&fleet.id.0, &fleet.technician.id.0, &van]).expect("a van");
    assert_eq!(changed, 1);
}

pub fn photo(job: Uuid, sha256: &str) -> Value {
    json!({"kind": "photo", "happened_at": "2026-03-02T19:00:00Z",
           "body": {"job_id": job, "sha256": sha256, "section": "hood", "caption": "before"}})
}

fn walk(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok) {
        let path = entry.path();
        if path.is_dir() { walk(&path, into) } else { into.push(path) }
    }
}
