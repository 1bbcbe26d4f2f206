//! What goes along when a bottle or a pad changes vans: its level or its wear, as phones know it.

use super::kinds::Kind;
use crate::error::Error;
use crate::flows::entries::{told_level, told_pad};
use crate::store::books::{self, PadState};
use crate::store::{TrailRow, Tx};
use uuid::Uuid;

/// Tells the level or the wear to the place a container or a pad has come to, and to the one it left
/// that it has. In the books it follows with the next entry: only entries write books.
pub(super) async fn tell(tx: &mut Tx, kind: Kind, id: Uuid, from: Uuid, to: Uuid) -> Result<(), Error> {
    let (kind, body) = match kind {
        Kind::Container => match books::find_containers(tx, &[id]).await?.get(&id) {
            Some(level) => ("container_level", told_level(level)?),
            None => return Ok(()),
        },
        Kind::Pad => match books::find_pads(tx, &[id]).await?.remove(&id) {
            Some(state) => ("pad_state", told_pad(&PadState { place_id: to, ..state })),
            None => return Ok(()),
        },
        Kind::Fleet
        | Kind::Place
        | Kind::Item
        | Kind::Machine
        | Kind::VehicleClass
        | Kind::Recipe
        | Kind::Client
        | Kind::Vehicle
        | Kind::Service
        | Kind::Job => return Ok(()),
    };
    tx.tell(TrailRow::left(from, kind, id));
    tx.tell(TrailRow::here(to, kind, id, body));
    Ok(())
}
