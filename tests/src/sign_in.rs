//! Signing in the way people do: with a password.

use crate::fleet::Person;
use crate::{Answer, Client, Fleet, TestDb, World};
use chrono::Utc;
use dropwise::auth::password::Hasher;
use dropwise::config::HashingConfig;
use dropwise::store::{Db, accounts};
use serde_json::json;

/// A password that will do.
pub const PASSWORD: &str = "five grey herons wading";

/// Tries to open a session.
#[must_use]
pub fn sign_in(client: &Client, fleet: &str, member: &str, password: &str) -> Answer {
    client.post("/v1/sessions", &json!({"fleet": fleet, "member": member, "password": password}))
}

/// Gives a member a password, hashed as strongly as the server's settings ask.
pub fn set_password(db: &TestDb, fleet: &Fleet, person: Person, password: &str) {
    let (url, id) = (db.server_url(), fleet.id);
    let (password, now) = (password.to_owned(), Utc::now());
    actix_web::rt::System::new().block_on(async move {
        let hasher = Hasher::new(HashingConfig::default(), 1).expect("a hasher");
        let phc = hasher.hash(password.into()).await.expect("a hash");
        let db = Db::open(&url, 1).expect("a pool");
        let set = async move |tx: &mut _| accounts::save_password(tx, person.id, &phc, now).await;
        db.write("set_password", id, set).await.expect("a password");
    });
}

impl World {
    /// A new business whose owner, office member and technician sign in as `owner`, `office` and
    /// `technician` with [`PASSWORD`].
    #[must_use]
    pub fn fleet_with_passwords(&self, handle: &str) -> Fleet {
        let fleet = self.fleet(handle);
        for person in [fleet.owner, fleet.office, fleet.technician] {
            set_password(&self.db, &fleet, person, PASSWORD);
        }
        fleet
    }

    /// A client of whoever signs in so.
    #[must_use]
    pub fn enter(&self, fleet: &str, member: &str, password: &str) -> Client {
        let session = sign_in(&self.as_nobody(), fleet, member, password).expect(201).json();
        self.as_nobody().with_token(session["access_token"].as_str().expect("a token"))
    }
}
