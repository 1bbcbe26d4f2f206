//! Members as cards need them: who may be in a crew, and who works from a place.

use super::Tx;
use super::schema::members;
use crate::error::Error;
use crate::ids::MemberId;
use diesel::dsl::exists;
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

/// Which of these members are still of the fleet.
///
/// # Errors
/// Those of the database.
pub async fn list_active(tx: &mut Tx, of: &[MemberId]) -> Result<Vec<MemberId>, Error> {
    let of: Vec<Uuid> = of.iter().map(|id| id.0).collect();
    let found: Vec<Uuid> = members::table
        .filter(members::fleet_id.eq(tx.fleet().0))
        .filter(members::member_id.eq_any(of))
        .filter(members::retired_at.is_null())
        .select(members::member_id)
        .load(tx.conn())
        .await?;
    Ok(found.into_iter().map(MemberId).collect())
}

/// Whether a member who is still of the fleet works from that place.
///
/// # Errors
/// Those of the database.
pub async fn is_home(tx: &mut Tx, place: Uuid) -> Result<bool, Error> {
    let of_the_fleet = members::table
        .filter(members::fleet_id.eq(tx.fleet().0))
        .filter(members::home_place_id.eq(place))
        .filter(members::retired_at.is_null());
    Ok(diesel::select(exists(of_the_fleet)).get_result(tx.conn()).await?)
}
