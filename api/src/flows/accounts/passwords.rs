//! Changing one's own password.

use crate::auth::Member;
use crate::auth::password::{Hasher, acceptable};
use crate::error::Error;
use crate::store::{Db, accounts};
use chrono::{DateTime, Utc};
use secrecy::SecretString;

/// Replaces the password of whoever asks, and ends their other sessions.
///
/// # Errors
/// [`Error::Invalid`] when the new password will not do or the current one is wrong.
pub async fn change(
    db: &Db,
    hasher: &Hasher,
    who: Member,
    current: SecretString,
    new: SecretString,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let who = who.who();
    checked(&new, "/new_password")?;
    let stored = db.read(who.fleet, async |tx| accounts::find_password(tx, who.member).await).await?;
    let Some(stored) = stored else { return Err(wrong()) };
    if !hasher.check(current, Some(stored.clone())).await?.right {
        return Err(wrong());
    }
    let phc = hasher.hash(new).await?;
    db.write("change_password", who.fleet, async move |tx| {
        if !accounts::replace_password(tx, who.member, &stored, &phc, now).await? {
            return Err(wrong());
        }
        accounts::end_other_sessions(tx, who.member, who.session, "password_changed", now).await?;
        accounts::insert_security_note(tx, Some(who.member), "password_changed", now).await
    })
    .await
}

/// A new password that will do.
///
/// # Errors
/// [`Error::Invalid`] at `pointer`, never with the password in it.
pub(super) fn checked(password: &SecretString, pointer: &'static str) -> Result<(), Error> {
    acceptable(password).map_err(|why| Error::invalid_at("weak_password", pointer, format!("Sorry, {why}.")))
}

fn wrong() -> Error {
    Error::invalid_at("wrong_password", "/current_password", "That is not your current password.")
}
