//! A new business, with the owner who can let everyone else in.

use super::members::tell;
use super::names::{checked_fleet_handle, checked_member_handle, checked_name};
use super::passwords::checked;
use crate::auth::Role;
use crate::auth::password::Hasher;
use crate::error::Error;
use crate::flows::cards::create::create_fleet_card;
use crate::flows::cards::kinds::Fleet;
use crate::ids::{self, FleetId, MemberId};
use crate::store::Db;
use crate::store::accounts::{self, MemberRecord};
use chrono::{DateTime, Utc};
use secrecy::SecretString;

/// A fleet to be.
#[derive(Debug, Clone)]
pub struct NewFleet {
    /// What its members type to sign in.
    pub handle: String,
    /// Name on papers.
    pub name: String,
    /// ISO 4217 code.
    pub currency: String,
    /// IANA time zone.
    pub zone: String,
    /// What the owner signs in with.
    pub owner_handle: String,
    /// What the owner is called.
    pub owner_name: String,
    /// The owner's password, which they chose.
    pub owner_password: SecretString,
}

/// Creates a fleet, its owner and its settings card.
///
/// # Errors
/// [`Error::Invalid`]; [`Error::Conflict`] when the handle is taken.
pub async fn create(
    db: &Db,
    hasher: &Hasher,
    new: NewFleet,
    now: DateTime<Utc>,
) -> Result<(FleetId, MemberId), Error> {
    let handle = checked_fleet_handle(&new.handle)?;
    let owner = MemberRecord {
        member_id: MemberId(ids::fresh()),
        handle: checked_member_handle(&new.owner_handle, "/owner_handle")?,
        name: checked_name(&new.owner_name, "/owner_name")?,
        role: Role::Owner,
        home_place_id: None,
        version: 1,
        retired_at: None,
    };
    checked(&new.owner_password, "/owner_password")?;
    let phc = hasher.hash(new.owner_password).await?;
    let settings = Fleet {
        name: checked_name(&new.name, "/name")?,
        currency: new.currency,
        zone: new.zone,
        travel_cost_per_km_amount: None,
        scale_sd_g: None,
    };
    let (fleet, owner_id) = (FleetId(ids::fresh()), owner.member_id);
    db.write("create_fleet", fleet, async move |tx| {
        accounts::insert_fleet(tx, &handle, now).await.map_err(|error| error.when_taken(taken))?;
        create_fleet_card(tx, &settings, now).await?;
        accounts::insert_member(tx, &owner, &[], now).await?;
        accounts::save_password(tx, owner.member_id, &phc, now).await?;
        tell(tx, &owner);
        Ok(())
    })
    .await?;
    Ok((fleet, owner_id))
}

fn taken(_: String) -> Error {
    Error::conflict("handle_taken", "Another fleet signs in with that handle. Choose another.")
}
