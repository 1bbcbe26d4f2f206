//! A job moved on from a phone: started, finished, handed back. The rules decide; late is late.

use super::Desk;
use super::card_edit::held;
use super::cards::{Author, missing};
use super::facts::JobCommand;
use super::refusal::EntryRefusal;
use crate::flows::cards::kinds::{Card, JobState, Kind};
use crate::sync::rules::job_state::{Refused, step};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Where the job was, and where it stood before and after.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Basis {
    pub(super) place_id: Uuid,
    from: JobState,
    to: JobState,
}

/// Moves the job on, if it is where its sender thinks.
///
/// Work recorded on a booked job does not start it, and work that comes in after it was finished does
/// not open it again: only commands move a job, so that no order of arrival can.
pub(super) fn write(desk: &mut Desk, fact: &JobCommand, author: Author) -> Result<Basis, EntryRefusal> {
    let id = fact.job_id;
    let from = held(desk, id, "job_id", author)?.state();
    let (Some(from), Some((Card::Job(job), _))) = (from, desk.cards.by_id.get(&id)) else {
        return Err(missing("job_id", Kind::Job));
    };
    let place_id = job.place_id;
    let to = step(from, fact.command, fact.expects).map_err(refusal)?;
    if let Some(writing) = desk.writings.get_mut(&id) {
        writing.move_to(to);
    }
    Ok(Basis { place_id, from, to })
}

fn refusal(why: Refused) -> EntryRefusal {
    let words = |state: JobState| state.word().replace('_', " ");
    match why {
        Refused::Late { current } => EntryRefusal::at(
            "job_moved_on",
            "expects",
            format!("The job is {} by now. Look at it again, and decide anew.", words(current)),
        ),
        Refused::NoSuchStep { current } => EntryRefusal::at(
            "no_such_step",
            "command",
            format!("The job is {}, and this does not lead on from there.", words(current)),
        ),
    }
}
