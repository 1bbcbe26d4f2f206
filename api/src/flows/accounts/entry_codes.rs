//! Entry codes: an owner starts, the member chooses the password. Nobody ever sets it for them.

use super::names::typed_handle;
use super::passwords::checked;
use super::sign_in::end_all;
use crate::auth::Owner;
use crate::auth::entry_code::EntryCode;
use crate::auth::password::Hasher;
use crate::error::Error;
use crate::ids::MemberId;
use crate::store::{Db, accounts, trail};
use chrono::{DateTime, Duration, Utc};
use secrecy::SecretString;

/// How long a code holds. It is handed over in person and too long to be guessed (130 bits), so that
/// it may wait for the member's next working day.
pub const CODE_LIFE: Duration = Duration::hours(72);

/// One answer for every code that lets nobody in.
const REFUSED: Error = Error::Unproven {
    code: "entry_code_refused",
    sentence: "This code does not hold: it may be mistyped, used or too old. An owner can hand out a new one.",
};

/// Makes a code for a member; an earlier one no longer holds. Their password stays until it is used.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::Conflict`] for a retired member.
pub async fn make(
    db: &Db,
    who: Owner,
    member: MemberId,
    now: DateTime<Utc>,
) -> Result<(EntryCode, DateTime<Utc>), Error> {
    let code = EntryCode::fresh().map_err(Error::internal)?;
    let (hash, ends_at) = (code.hash(), now + CODE_LIFE);
    db.write("make_entry_code", who.who().fleet, async move |tx| {
        if accounts::lock_member(tx, member).await?.retired_at.is_some() {
            return Err(super::members::retired());
        }
        accounts::save_entry_code(tx, member, &hash, now, ends_at).await?;
        accounts::insert_security_note(tx, Some(member), "entry_code_made", now).await
    })
    .await?;
    Ok((code, ends_at))
}

/// Sets the password of the member a code was made for, uses the code up and ends their sessions.
///
/// # Errors
/// [`Error::Invalid`] when the password will not do; [`Error::Unproven`] when the code does not hold.
pub async fn claim(
    db: &Db,
    hasher: &Hasher,
    fleet: &str,
    code: &SecretString,
    password: SecretString,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let code = EntryCode::read(code).ok_or(REFUSED)?;
    let fleet = trail::fleet_of_handle(db, &typed_handle(fleet)).await?.ok_or(REFUSED)?;
    let hash = code.hash();
    // Looked up first: a password is only judged and hashed for a code that holds.
    db.read(fleet, async |tx| accounts::find_entry_code(tx, &hash, now).await).await?.ok_or(REFUSED)?;
    checked(&password, "/password")?;
    let phc = hasher.hash(password).await?;
    db.write("claim_member", fleet, async move |tx| {
        let member = accounts::find_entry_code(tx, &hash, now).await?.ok_or(REFUSED)?;
        accounts::lock_member(tx, member).await?;
        if !accounts::use_entry_code(tx, &hash, now).await? {
            return Err(REFUSED);
        }
        accounts::save_password(tx, member, &phc, now).await?;
        end_all(tx, member, "entry_code_used", now).await
    })
    .await
}
