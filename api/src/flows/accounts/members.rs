//! Members come, change and go.

use super::names::{checked_member_handle, checked_name};
use super::sign_in::end_all;
use crate::auth::{Owner, Role};
use crate::error::Error;
use crate::ids::MemberId;
use crate::store::accounts::{self, MemberRecord};
use crate::store::{TrailRow, Tx};
use chrono::{DateTime, Utc};
use serde_json::json;
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// A member to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewMember {
    /// What they sign in with.
    pub handle: String,
    /// What they are called.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Where they work from.
    pub home_place_id: Option<Uuid>,
}

/// What shall change; what is `None` stays.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Changes {
    /// What they sign in with.
    pub handle: Option<String>,
    /// What they are called.
    pub name: Option<String>,
    /// What they may do.
    pub role: Option<Role>,
    /// Where they work from; `Some(None)` takes it away.
    pub home_place_id: Option<Option<Uuid>>,
}

/// How an edit went.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Edited {
    /// Done; the member as they now stand.
    Saved(MemberRecord),
    /// It was made from an older version; the member as they stand.
    Stale(MemberRecord),
}

impl NewMember {
    /// Checked by itself, before anything is looked up.
    ///
    /// # Errors
    /// [`Error::Invalid`].
    pub fn checked(self) -> Result<Self, Error> {
        Ok(Self {
            handle: checked_member_handle(&self.handle, "/handle")?,
            name: checked_name(&self.name, "/name")?,
            ..self
        })
    }

    fn digest(&self) -> Vec<u8> {
        let facts = json!([self.handle, self.name, self.role.word(), self.home_place_id]);
        Sha256::digest(facts.to_string()).to_vec()
    }
}

/// Adds a member under the caller's id. The same again answers as the first time.
///
/// # Errors
/// [`Error::Conflict`] when the id stands for another member or the handle is taken; [`Error::Invalid`].
pub async fn create(
    tx: &mut Tx,
    _: Owner,
    id: MemberId,
    new: &NewMember,
    now: DateTime<Utc>,
) -> Result<MemberRecord, Error> {
    let digest = new.digest();
    if let Some(earlier) = accounts::find_member_digest(tx, id).await? {
        if earlier == digest {
            return accounts::find_member(tx, id).await;
        }
        return Err(Error::conflict(
            "id_in_use",
            "A member of that id exists with other particulars. Read it, or use a fresh id.",
        ));
    }
    check_place(tx, new.home_place_id).await?;
    let member = MemberRecord {
        member_id: id,
        handle: new.handle.clone(),
        name: new.name.clone(),
        role: new.role,
        home_place_id: new.home_place_id,
        version: 1,
        retired_at: None,
    };
    accounts::insert_member(tx, &member, &digest, now).await.map_err(met)?;
    tell(tx, &member);
    Ok(member)
}

/// Edits a member from the version they were read at. Another role ends their sessions.
///
/// # Errors
/// [`Error::Conflict`] when it would leave no owner, or the handle is taken; [`Error::NotFound`].
pub async fn edit(
    tx: &mut Tx,
    _: Owner,
    id: MemberId,
    version: i64,
    changes: &Changes,
    now: DateTime<Utc>,
) -> Result<Edited, Error> {
    let owners = accounts::lock_owners(tx).await?;
    let before = accounts::lock_member(tx, id).await?;
    if before.version != version {
        return Ok(Edited::Stale(before));
    }
    if before.retired_at.is_some() {
        return Err(retired());
    }
    let mut after = before.clone();
    if let Some(handle) = &changes.handle {
        after.handle = checked_member_handle(handle, "/handle")?;
    }
    if let Some(name) = &changes.name {
        after.name = checked_name(name, "/name")?;
    }
    if let Some(role) = changes.role {
        after.role = role;
    }
    if let Some(place) = changes.home_place_id {
        after.home_place_id = place;
    }
    if after == before {
        return Ok(Edited::Saved(before));
    }
    if after.home_place_id != before.home_place_id {
        check_place(tx, after.home_place_id).await?;
    }
    if after.role != Role::Owner {
        keep_an_owner(&owners, id)?;
    }
    accounts::save_member(tx, &after).await.map_err(met)?;
    after.version += 1;
    if after.role != before.role {
        end_all(tx, id, "role_changed", now).await?;
    }
    tell(tx, &after);
    Ok(Edited::Saved(after))
}

/// Retires a member and ends their sessions. Retiring one who is gone changes nothing.
///
/// # Errors
/// [`Error::Conflict`] when no owner would be left; [`Error::NotFound`].
pub async fn retire(tx: &mut Tx, _: Owner, id: MemberId, now: DateTime<Utc>) -> Result<MemberRecord, Error> {
    let owners = accounts::lock_owners(tx).await?;
    let mut member = accounts::lock_member(tx, id).await?;
    if member.retired_at.is_some() {
        return Ok(member);
    }
    keep_an_owner(&owners, id)?;
    member.retired_at = Some(now);
    accounts::save_member(tx, &member).await?;
    member.version += 1;
    end_all(tx, id, "member_retired", now).await?;
    tell(tx, &member);
    Ok(member)
}

/// The member is gone.
pub(super) fn retired() -> Error {
    Error::conflict("member_retired", "This member has been retired. Add them anew under a fresh id.")
}

/// Shows a member to the phones of the fleet: who they are and where they work, nothing of pay.
pub(super) fn tell(tx: &mut Tx, member: &MemberRecord) {
    let body = json!({
        "member_id": member.member_id,
        "name": member.name,
        "role": member.role,
        "home_place_id": member.home_place_id,
        "retired_at": member.retired_at,
    });
    let everyone = tx.fleet().0;
    tx.tell(TrailRow::here(everyone, "member", member.member_id.0, body));
}

/// Someone must be left who can let others in: an owner who has a password.
fn keep_an_owner(owners: &[MemberId], leaving: MemberId) -> Result<(), Error> {
    if owners == [leaving] {
        return Err(Error::conflict(
            "last_owner",
            "This is the last owner who can sign in. Make another member an owner first, and let them choose a password.",
        ));
    }
    Ok(())
}

async fn check_place(tx: &mut Tx, place: Option<Uuid>) -> Result<(), Error> {
    match place {
        Some(place) if !accounts::is_place_in_use(tx, place).await? => Err(Error::invalid_at(
            "unknown_place",
            "/home_place_id",
            "There is no place of that id in use. Create the place first.",
        )),
        Some(_) | None => Ok(()),
    }
}

/// Two writers on one id look again; a handle that is taken is the client's to change.
fn met(error: Error) -> Error {
    error.when_taken(|key| {
        if key.ends_with("_pkey") {
            return Error::Retry(key);
        }
        Error::conflict("handle_taken", "Another member of this fleet signs in with that handle.")
    })
}
