//! Renewing a session: each refresh token is good for one successor.
//!
//! A phone that lost the reply asks again with the token it still has and gets the same successor,
//! as long as that one was not used, for ten minutes. Any other token of the family that comes back
//! was copied: the whole family ends and the owner can read why.
//!
//! A session bound to a phone's key is renewed only with a fresh proof of that key; a token that comes
//! without one renews nothing, ends nothing, and is noted. Sessions of the office's browsers have no key
//! to be bound to: for them rotation and the ending of copied families are the guard.

use super::sign_in::{Entered, entered};
use crate::auth::device_key::{DeviceKey, KeyProof, Proven};
use crate::auth::refresh::RefreshToken;
use crate::auth::{Keys, Role, token};
use crate::error::Error;
use crate::ids::{MemberId, SessionId};
use crate::store::accounts::{self, SessionRecord};
use crate::store::{Db, Tx};
use chrono::{DateTime, Duration, Utc};
use std::sync::Arc;

/// How long a lost reply may be asked for again.
pub const RETRY_WINDOW: Duration = Duration::minutes(10);
/// A session not renewed for so long ends.
pub const IDLE_LIMIT: Duration = Duration::days(14);

/// One answer for every token that renews nothing.
pub const REFUSED: Error =
    Error::Unproven { code: "refresh_refused", sentence: "This session cannot be renewed. Sign in again." };

/// The key is right and the phone's idea of the time is not: it can mend that and ask again.
const OUT_OF_TIME: Error = Error::Unproven {
    code: "proof_out_of_time",
    sentence: "The proof was signed more than five minutes away from the server's time. Take the time from this answer's Date header and sign again.",
};
/// How often the owner is told of a bound session's token that came without a proof.
const NOTE_EVERY: Duration = Duration::days(1);

/// What a client shows to renew a session.
#[derive(Debug)]
pub struct Asked {
    /// The token.
    pub token: RefreshToken,
    /// The phone's proof, when it sends one.
    pub proof: Option<KeyProof>,
}

/// What a shown token means for its session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shown {
    /// The token in force: give the next.
    InForce,
    /// The one before, whose reply was lost: give the same next again.
    ReplyLost,
    /// One of this family that was already followed: someone has a copy.
    Copied,
    /// Nothing of ours, or too late.
    Nothing,
}

/// A new pair of tokens.
///
/// # Errors
/// [`Error::Unproven`].
pub async fn refresh(db: &Db, keys: &Arc<Keys>, asked: Asked, now: DateTime<Utc>) -> Result<Entered, Error> {
    let Asked { token: shown, proof } = asked;
    let (fleet, session) = (shown.fleet, shown.session);
    let next = shown.successor(keys);
    let next_hash = next.hash();
    let inner_keys = Arc::clone(keys);
    let outcome = db
        .write("refresh_session", fleet, async move |tx| {
            let record = match accounts::lock_session(tx, session).await {
                Err(Error::NotFound) => return Ok(None),
                other => other?,
            };
            let means = judge(&record, &shown, &inner_keys, now);
            if matches!(means, Shown::InForce | Shown::ReplyLost) {
                match proven(&record, &shown, proof.as_ref(), now) {
                    Proven::Holds => {}
                    Proven::OutOfTime => return Err(OUT_OF_TIME),
                    Proven::Nothing => {
                        note_unproven(tx, session, &record, now).await?;
                        return Ok(None);
                    }
                }
            }
            match means {
                Shown::InForce => {
                    accounts::rotate_session(tx, session, &next_hash, &shown.hash(), now).await?;
                    open(tx, &record).await
                }
                Shown::ReplyLost => open(tx, &record).await,
                Shown::Copied => {
                    let member = Some(MemberId(record.member_id));
                    accounts::end_session(tx, session, "refresh_token_reused", now).await?;
                    accounts::insert_security_note(tx, member, "refresh_token_reused", now).await?;
                    Ok(None)
                }
                Shown::Nothing => Ok(None),
            }
        })
        .await?;
    let (member, role, ends_at) = outcome.ok_or(REFUSED)?;
    entered(keys, token::Bearer { fleet, member, session }, role, &next, ends_at, now)
}

fn judge(session: &SessionRecord, shown: &RefreshToken, keys: &Keys, now: DateTime<Utc>) -> Shown {
    let over = session.ended_at.is_some() || session.ends_at <= now;
    if over || now - session.rotated_at > IDLE_LIMIT {
        return Shown::Nothing;
    }
    let hash = shown.hash();
    if hash == session.current_hash {
        return Shown::InForce;
    }
    if session.previous_hash.as_ref() == Some(&hash) {
        // With another secret than then, the successor cannot be made again: sign in again.
        let same_next = shown.successor(keys).hash() == session.current_hash;
        return match (now - session.rotated_at <= RETRY_WINDOW, same_next) {
            (true, true) => Shown::ReplyLost,
            (true, false) => Shown::Nothing,
            (false, _) => Shown::Copied,
        };
    }
    if shown.is_forerunner_of(&session.current_hash, session.renewals, keys) {
        return Shown::Copied;
    }
    Shown::Nothing
}

/// Whether the phone a session is bound to is the one that asks. An unbound session asks for nothing.
fn proven(
    session: &SessionRecord,
    shown: &RefreshToken,
    proof: Option<&KeyProof>,
    now: DateTime<Utc>,
) -> Proven {
    let Some(bytes) = &session.device_key else { return Proven::Holds };
    match (DeviceKey::from_bytes(bytes), proof) {
        (Some(key), Some(proof)) => key.check(shown, proof, now),
        (None, _) | (_, None) => Proven::Nothing,
    }
}

/// Lets the owner know, once a day: whoever holds a copy may try as often as they like.
async fn note_unproven(
    tx: &mut Tx,
    id: SessionId,
    session: &SessionRecord,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    if session.unproven_at.is_some_and(|at| now - at < NOTE_EVERY) {
        return Ok(());
    }
    accounts::save_unproven(tx, id, now).await?;
    let member = Some(MemberId(session.member_id));
    accounts::insert_security_note(tx, member, "refresh_without_proof", now).await
}

/// Who the session belongs to, unless they are gone.
async fn open(
    tx: &mut Tx,
    session: &SessionRecord,
) -> Result<Option<(MemberId, Role, DateTime<Utc>)>, Error> {
    let member = accounts::find_member(tx, MemberId(session.member_id)).await?;
    Ok(member.retired_at.is_none().then_some((member.member_id, member.role, session.ends_at)))
}
