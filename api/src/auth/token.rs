//! Access tokens: Ed25519 signatures, fifteen minutes, nothing in them that a role change could make false.

use super::Keys;
use crate::ids::{FleetId, MemberId, SessionId};
use chrono::{DateTime, Duration, Utc};
use jsonwebtoken::{Algorithm, Header, Validation};
use serde::{Deserialize, Serialize};

const ISSUER: &str = "dropwise";
const AUDIENCE: &str = "dropwise-api";
const KIND: &str = "at+jwt";
/// How long an access token holds.
pub const LIFE: Duration = Duration::minutes(15);

#[derive(Debug, Serialize, Deserialize)]
struct Claims {
    iss: String,
    aud: String,
    sub: MemberId,
    fleet: FleetId,
    sid: SessionId,
    iat: i64,
    nbf: i64,
    exp: i64,
}

/// What a valid token says: whose session it belongs to. Everything else is looked up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Bearer {
    /// The business.
    pub fleet: FleetId,
    /// The member.
    pub member: MemberId,
    /// The sign-in.
    pub session: SessionId,
}

/// Signs a token for fifteen minutes from `now`.
///
/// # Errors
/// A word for the log when signing fails.
pub fn issue(keys: &Keys, bearer: Bearer, now: DateTime<Utc>) -> Result<String, String> {
    let header = Header {
        typ: Some(KIND.into()),
        kid: Some(keys.signing_kid.clone()),
        ..Header::new(Algorithm::EdDSA)
    };
    let claims = Claims {
        iss: ISSUER.into(),
        aud: AUDIENCE.into(),
        sub: bearer.member,
        fleet: bearer.fleet,
        sid: bearer.session,
        iat: now.timestamp(),
        nbf: now.timestamp(),
        exp: (now + LIFE).timestamp(),
    };
    jsonwebtoken::encode(&header, &claims, &keys.signing).map_err(|error| error.to_string())
}

/// Whom a token belongs to, if it holds at `now`. One algorithm, a known key, the right type, issuer
/// and audience, and times checked here with the clock that was handed in (5 s of leeway).
#[must_use]
pub fn check(keys: &Keys, token: &str, now: DateTime<Utc>) -> Option<Bearer> {
    let claims = claims(keys, token, now)?;
    Some(Bearer { fleet: claims.fleet, member: claims.sub, session: claims.sid })
}

/// Until when a token holds that holds at `now`, leeway aside.
#[must_use]
pub fn ends_at(keys: &Keys, token: &str, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    DateTime::from_timestamp(claims(keys, token, now)?.exp, 0)
}

fn claims(keys: &Keys, token: &str, now: DateTime<Utc>) -> Option<Claims> {
    const LEEWAY_S: i64 = 5;
    if token.len() > 2048 {
        return None;
    }
    let header = jsonwebtoken::decode_header(token).ok()?;
    if header.alg != Algorithm::EdDSA || header.typ.as_deref() != Some(KIND) {
        return None;
    }
    let key = keys.checking.get(header.kid.as_deref()?)?;
    let mut rules = Validation::new(Algorithm::EdDSA);
    rules.set_issuer(&[ISSUER]);
    rules.set_audience(&[AUDIENCE]);
    rules.set_required_spec_claims(&["exp", "nbf", "iss", "aud", "sub"]);
    // The library would ask the machine's clock; the claims are required and judged below instead.
    rules.validate_exp = false;
    rules.validate_nbf = false;
    let claims = jsonwebtoken::decode::<Claims>(token, key, &rules).ok()?.claims;
    let at = now.timestamp();
    let lives = at < claims.exp.saturating_add(LEEWAY_S) && at >= claims.nbf.saturating_sub(LEEWAY_S);
    let short = claims.exp.saturating_sub(claims.iat) <= LIFE.num_seconds();
    (lives && short).then_some(claims)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::ids::fresh;

    #[test]
    fn a_token_holds_for_fifteen_minutes_give_or_take_five_seconds() {
        let folder = std::env::temp_dir().join(format!("dropwise-token-{}", fresh()));
        let keys = Keys::open(&folder).unwrap();
        std::fs::remove_dir_all(folder).unwrap();
        let bearer =
            Bearer { fleet: FleetId(fresh()), member: MemberId(fresh()), session: SessionId(fresh()) };
        let made = DateTime::UNIX_EPOCH;
        let token = issue(&keys, bearer, made).unwrap();
        for (after_s, holds) in [(-6, false), (-5, true), (0, true), (899, true), (904, true), (905, false)] {
            let seen = check(&keys, &token, made + Duration::seconds(after_s));
            assert_eq!(seen, holds.then_some(bearer), "after {after_s} s");
            let ends_at = ends_at(&keys, &token, made + Duration::seconds(after_s));
            assert_eq!(ends_at, holds.then_some(made + Duration::minutes(15)), "after {after_s} s");
        }
    }
}
