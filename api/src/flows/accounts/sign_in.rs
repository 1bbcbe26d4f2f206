//! Signing in and out.

use super::names::typed_handle;
use crate::auth::password::Hasher;
use crate::auth::refresh::RefreshToken;
use crate::auth::{Keys, Member, Role, token};
use crate::error::Error;
use crate::ids::{self, FleetId, MemberId, SessionId};
use crate::store::{Db, accounts, trail};
use chrono::{DateTime, Duration, Utc};
use secrecy::SecretString;
use uuid::Uuid;

/// A sign-in ends after this long, however often it was renewed.
pub const SESSION_LIFE: Duration = Duration::days(30);

/// What a person types.
#[derive(Debug, Clone)]
pub struct SignIn {
    /// The business.
    pub fleet: String,
    /// The member.
    pub member: String,
    /// Their password.
    pub password: SecretString,
}

/// What a person is let in with.
#[derive(Debug, Clone)]
pub struct Entered {
    /// Whose session, and which.
    pub bearer: token::Bearer,
    /// What they may do.
    pub role: Role,
    /// Bearer token for requests.
    pub access_token: SecretString,
    /// Until when it holds.
    pub access_ends_at: DateTime<Utc>,
    /// Token for the next pair.
    pub refresh_token: SecretString,
    /// Until when the session can be renewed.
    pub session_ends_at: DateTime<Utc>,
}

/// Turned away: the same answer for an unknown fleet, an unknown or retired member, one without a
/// password, and a wrong password.
const REFUSED: Error = Error::Unproven {
    code: "sign_in_refused",
    sentence: "Fleet, name and password do not fit together. Check all three; an owner can hand out a new entry code.",
};

/// Opens a session. Whoever is turned away waits as long as whoever is not known.
///
/// # Errors
/// [`Error::Unproven`]; [`Error::Unavailable`] when the hasher's queue is full.
pub async fn sign_in(
    db: &Db,
    hasher: &Hasher,
    keys: &Keys,
    asked: SignIn,
    now: DateTime<Utc>,
) -> Result<Entered, Error> {
    let found = trail::fleet_of_handle(db, &typed_handle(&asked.fleet)).await?;
    // Nobody's fleet is asked the same question, so that it takes as long.
    let fleet = found.unwrap_or(FleetId(Uuid::nil()));
    let handle = typed_handle(&asked.member);
    let known = db.read(fleet, async |tx| accounts::find_sign_in(tx, &handle).await).await?;
    let (member, stored) = match known {
        Some((member, stored)) if member.retired_at.is_none() => (Some(member), stored),
        Some(_) | None => (None, None),
    };
    let checked = hasher.check(asked.password, stored.clone()).await?;
    let (Some(member), Some(stored), true) = (member, stored, checked.right) else { return Err(REFUSED) };

    let session = SessionId(ids::fresh());
    let refresh = RefreshToken::first(fleet, session).map_err(Error::internal)?;
    let ends_at = now + SESSION_LIFE;
    let (hash, id) = (refresh.hash(), member.member_id);
    db.write("sign_in", fleet, async move |tx| {
        // The member may have been retired, or the password changed, while it was being checked.
        let still = accounts::lock_member(tx, id).await?;
        let phc = accounts::find_password(tx, id).await?;
        if still.retired_at.is_some() || phc.as_ref() != Some(&stored) {
            return Err(REFUSED);
        }
        if let Some(stronger) = &checked.rehashed {
            accounts::save_password(tx, id, stronger, now).await?;
        }
        accounts::insert_session(tx, session, id, &hash, now, ends_at).await
    })
    .await?;
    entered(keys, token::Bearer { fleet, member: id, session }, member.role, &refresh, ends_at, now)
}

/// Ends the session that asks.
///
/// # Errors
/// Those of the database.
pub async fn sign_out(db: &Db, who: Member, now: DateTime<Utc>) -> Result<(), Error> {
    let who = who.who();
    db.write("sign_out", who.fleet, async move |tx| {
        accounts::end_session(tx, who.session, "signed_out", now).await
    })
    .await
}

/// A fresh access token beside this refresh token.
pub(super) fn entered(
    keys: &Keys,
    bearer: token::Bearer,
    role: Role,
    refresh: &RefreshToken,
    session_ends_at: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Result<Entered, Error> {
    let access_token = token::issue(keys, bearer, now).map_err(Error::internal)?;
    Ok(Entered {
        bearer,
        role,
        access_token: access_token.into(),
        access_ends_at: now + token::LIFE,
        refresh_token: refresh.text().into(),
        session_ends_at,
    })
}

/// Ends what a member has open, when what they may do has changed.
pub(super) async fn end_all(
    tx: &mut crate::store::Tx,
    member: MemberId,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    accounts::end_sessions_of(tx, member, why, now).await?;
    accounts::insert_security_note(tx, Some(member), why, now).await
}
