//! Whether the sections a desk marks on a job are sections of its vehicle.

use super::kinds::{Card, Job};
use super::{document, fields};
use crate::error::Error;
use crate::store::{Tx, cards};

/// Refuses states of sections the vehicle's class does not have; what was there `before` may stay.
pub(super) async fn check(tx: &mut Tx, job: &Job, before: Option<&Job>) -> Result<(), Error> {
    let same = before.is_some_and(|before| before.sections == job.sections);
    if job.sections.is_empty() || same {
        return Ok(());
    }
    let vehicle = cards::find(tx, job.vehicle_id).await?;
    let Card::Vehicle(vehicle) = document::stored(vehicle.kind, &vehicle.body)? else {
        return Err(Error::internal("a job's vehicle that is none"));
    };
    let class = cards::find(tx, vehicle.vehicle_class_id).await?;
    let Card::VehicleClass(class) = document::stored(class.kind, &class.body)? else {
        return Err(Error::internal("a vehicle's class that is none"));
    };
    fields::check_sections(before, job, &class)
}
