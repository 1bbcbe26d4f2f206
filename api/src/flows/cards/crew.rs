//! Whether a job's crew are members of the fleet.

use super::kinds::Job;
use crate::error::Error;
use crate::ids::MemberId;
use crate::store::{Tx, crew};

/// Refuses a crew with someone who is not of the fleet; who was in it `before` may have left since.
pub(super) async fn check(tx: &mut Tx, job: &Job, before: Option<&Job>) -> Result<(), Error> {
    let new: Vec<MemberId> =
        job.crew.iter().copied().filter(|id| !before.is_some_and(|old| old.crew.contains(id))).collect();
    if new.is_empty() {
        return Ok(());
    }
    let active = crew::list_active(tx, &new).await?;
    match job.crew.iter().position(|id| new.contains(id) && !active.contains(id)) {
        None => Ok(()),
        Some(i) => Err(Error::invalid_at(
            "no_such_record",
            format!("/crew/{i}"),
            "There is no active member of that id here. Name another.",
        )),
    }
}
