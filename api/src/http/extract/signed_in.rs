//! Who asks: a bearer token that holds, of a member and a session that are still welcome.

use crate::auth::{Keys, Proof, Who, token};
use crate::clock::Clock;
use crate::error::Error;
use crate::store::{Db, accounts};
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, dev::Payload, web};
use moka::future::Cache;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

/// A proof that the caller is signed in with a role that may do this.
#[derive(Debug, Clone, Copy)]
pub struct SignedIn<P>(pub P);

/// What is known of open sessions, for a few seconds: a role change or an end counts within three.
#[derive(Clone)]
pub struct Sessions(Cache<token::Bearer, Option<Who>>);

impl std::fmt::Debug for Sessions {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Sessions")
    }
}

impl Default for Sessions {
    fn default() -> Self {
        Self(Cache::builder().max_capacity(100_000).time_to_live(Duration::from_secs(3)).build())
    }
}

impl Sessions {
    /// Lets a session that has just been ended count as ended at once.
    pub async fn forget(&self, who: Who) {
        self.0
            .invalidate(&token::Bearer { fleet: who.fleet, member: who.member, session: who.session })
            .await;
    }

    async fn find(&self, db: &Db, bearer: token::Bearer, clock: &Clock) -> Result<Option<Who>, Error> {
        let now = clock.now();
        let look = async {
            db.read(bearer.fleet, async |tx| {
                accounts::find_session(tx, bearer.session, bearer.member, now).await
            })
            .await
        };
        self.0.try_get_with(bearer, look).await.map_err(|error: Arc<Error>| {
            if let Error::Unavailable { why, retry_after_s } = &*error {
                Error::Unavailable { why: why.clone(), retry_after_s: *retry_after_s }
            } else {
                Error::internal(error)
            }
        })
    }
}

impl<P: Proof + 'static> FromRequest for SignedIn<P> {
    type Error = Error;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Error>>>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(async move {
            let part = |missing| Error::internal(format!("{missing} is not set up"));
            let keys = request.app_data::<web::Data<Keys>>().ok_or_else(|| part("Keys"))?;
            let clock = request.app_data::<web::Data<Clock>>().ok_or_else(|| part("Clock"))?;
            let db = request.app_data::<web::Data<Db>>().ok_or_else(|| part("Db"))?;
            let sessions = request.app_data::<web::Data<Sessions>>().ok_or_else(|| part("Sessions"))?;
            let text = request.headers().get(header::AUTHORIZATION).and_then(|value| value.to_str().ok());
            let bearer = text
                .and_then(|text| text.split_once(' '))
                // RFC 9110: the scheme's name is read without regard to case.
                .and_then(|(scheme, token)| scheme.eq_ignore_ascii_case("bearer").then_some(token))
                .and_then(|text| token::check(keys, text, clock.now()))
                .ok_or(Error::NotSignedIn)?;
            let who = sessions.find(db, bearer, clock).await?.ok_or(Error::NotSignedIn)?;
            P::of(who).map(SignedIn).ok_or(Error::NotAllowed)
        })
    }
}
