//! A business to test with: its people, each with a way to ask as them.

use crate::Client;
use chrono::{DateTime, Duration, Utc};
use dropwise::auth::refresh::RefreshToken;
use dropwise::auth::token::{self, Bearer};
use dropwise::auth::{Keys, Role};
use dropwise::clock::Clock;
use dropwise::flows::cards::create::create_fleet_card;
use dropwise::flows::cards::kinds;
use dropwise::ids::{FleetId, MemberId, SessionId, fresh};
use dropwise::store::{Db, accounts};
use uuid::Uuid;

/// A fleet with three people, signed in.
#[derive(Debug)]
pub struct Fleet {
    /// Its id.
    pub id: FleetId,
    /// What its people type to sign in.
    pub handle: String,
    /// Sees everything.
    pub owner: Person,
    /// Sees all but pay and closing.
    pub office: Person,
    /// Works at the kerb.
    pub technician: Person,
    client: Client,
    clock: Clock,
}

/// A member with an open session.
#[derive(Debug, Clone, Copy)]
pub struct Person {
    /// Their id.
    pub id: MemberId,
    /// Their sign-in.
    pub session: SessionId,
}

impl Fleet {
    /// Writes the fleet and its people by the same store the server uses.
    #[must_use]
    pub fn found(server_url: &str, clock: &Clock, client: Client, handle: &str) -> Self {
        let (id, now) = (FleetId(fresh()), clock.now());
        let people = [Role::Owner, Role::Office, Role::Technician]
            .map(|role| (role, Person { id: MemberId(fresh()), session: SessionId(fresh()) }));
        let named = handle.to_owned();
        actix_web::rt::System::new().block_on(async {
            let db = Db::open(server_url, 1).expect("a pool");
            let written = db.write("found_fleet", id, async move |tx| {
                accounts::insert_fleet(tx, &named, now).await?;
                create_fleet_card(tx, &settings(&named), now).await?;
                for (role, person) in people {
                    accounts::insert_member(tx, &member(role, person.id), &[], now).await?;
                    let token = RefreshToken::first(id, person.session).expect("randomness");
                    let ends_at = now + Duration::days(30);
                    accounts::insert_session(tx, person.session, person.id, &token.hash(), now, ends_at)
                        .await?;
                }
                Ok(())
            });
            written.await.expect("a fleet");
        });
        let [(_, owner), (_, office), (_, technician)] = people;
        Self { id, handle: handle.to_owned(), owner, office, technician, client, clock: clock.clone() }
    }

    /// A bearer token of one of its people, issued now.
    #[must_use]
    pub fn token(&self, person: Person) -> String {
        self.token_signed_with(&crate::server::keys(), person)
    }

    /// The same for a server with keys of its own.
    #[must_use]
    pub fn token_signed_with(&self, keys: &Keys, person: Person) -> String {
        let bearer = Bearer { fleet: self.id, member: person.id, session: person.session };
        token::issue(keys, bearer, self.clock.now()).expect("a token")
    }

    /// Asks as one of its people, with a token issued now.
    #[must_use]
    pub fn ask(&self, person: Person) -> Client {
        self.client.with_token(self.token(person))
    }

    /// What time it is for this fleet's server.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    /// Asks as the owner.
    #[must_use]
    pub fn as_owner(&self) -> Client {
        self.ask(self.owner)
    }

    /// Asks as the office.
    #[must_use]
    pub fn as_office(&self) -> Client {
        self.ask(self.office)
    }

    /// Asks as the technician.
    #[must_use]
    pub fn as_technician(&self) -> Client {
        self.ask(self.technician)
    }
}

fn settings(handle: &str) -> kinds::Fleet {
    kinds::Fleet {
        name: format!("The fleet {handle}"),
        currency: "USD".to_owned(),
        zone: "America/Denver".to_owned(),
        travel_cost_per_km_amount: None,
        scale_sd_g: None,
    }
}

fn member(role: Role, id: MemberId) -> accounts::MemberRecord {
    accounts::MemberRecord {
        member_id: id,
        handle: role.word().to_owned(),
        name: format!("A {} of the tests", role.word()),
        role,
        home_place_id: None::<Uuid>,
        version: 1,
        retired_at: None,
    }
}
