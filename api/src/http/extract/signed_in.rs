//! Who asks: a bearer token that holds, of a member and a session that are still welcome.

use crate::auth::{Keys, Proof, Who, token};
use crate::clock::Clock;
use crate::error::Error;
use crate::store::{Db, accounts};
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, dev::Payload, web};
use chrono::{DateTime, Utc};
use moka::future::Cache;
use std::future::{Future, Ready, ready};
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

    /// Who a bearer is now, if still welcome.
    pub(in crate::http) async fn find(
        &self,
        db: &Db,
        bearer: token::Bearer,
        clock: &Clock,
    ) -> Result<Option<Who>, Error> {
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
            let keys = part::<Keys>(&request)?;
            let clock = part::<Clock>(&request)?;
            let db = part::<Db>(&request)?;
            let sessions = part::<Sessions>(&request)?;
            let bearer = token_of(&request)
                .and_then(|text| token::check(keys, text, clock.now()))
                .ok_or(Error::NotSignedIn)?;
            let who = sessions.find(db, bearer, clock).await?.ok_or(Error::NotSignedIn)?;
            P::of(who).map(SignedIn).ok_or(Error::NotAllowed)
        })
    }
}

/// When the token that asks ends.
#[derive(Debug, Clone, Copy)]
pub struct TokenEnd(pub DateTime<Utc>);

impl FromRequest for TokenEnd {
    type Error = Error;
    type Future = Ready<Result<Self, Error>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let read = || {
            let now = part::<Clock>(request)?.now();
            let ends_at = token_of(request).and_then(|text| token::ends_at(part(request).ok()?, text, now));
            ends_at.map(Self).ok_or(Error::NotSignedIn)
        };
        ready(read())
    }
}

fn part<T: 'static>(request: &HttpRequest) -> Result<&web::Data<T>, Error> {
    request.app_data().ok_or_else(|| Error::internal(format!("{} is not set up", std::any::type_name::<T>())))
}

fn token_of(request: &HttpRequest) -> Option<&str> {
    let text = request.headers().get(header::AUTHORIZATION)?.to_str().ok()?;
    let (scheme, token) = text.split_once(' ')?;
    // RFC 9110: the scheme's name is read without regard to case.
    scheme.eq_ignore_ascii_case("bearer").then_some(token)
}
