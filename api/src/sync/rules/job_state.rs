//! Where a job stands, and who may move it on: commands from phones, edits from the office.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Where a job stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = JobState)]
pub enum State {
    /// To be done.
    Booked,
    /// A crew is at it.
    UnderWay,
    /// Done, as its crew says. Late entries of other phones still come in.
    Finished,
    /// Done and paid; takes no more work.
    Settled,
    /// Not to be done; takes no work.
    Cancelled,
}

/// What a crew may say from a phone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = JobCommandWord)]
pub enum Command {
    /// Work begins.
    Start,
    /// Work is done; also where the start was forgotten.
    Finish,
    /// It is not done and goes back to the office's list.
    HandBack,
}

/// Why a command changes nothing. It never will: the person looks at the job and decides anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refused {
    /// The job is not where its sender thought.
    Late {
        /// Where it is.
        current: State,
    },
    /// No such step leads from there.
    NoSuchStep {
        /// Where it is.
        current: State,
    },
}

impl State {
    /// Every state.
    pub const ALL: [Self; 5] = [Self::Booked, Self::UnderWay, Self::Finished, Self::Settled, Self::Cancelled];

    /// From the word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }

    /// The word in tables and in JSON.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Booked => "booked",
            Self::UnderWay => "under_way",
            Self::Finished => "finished",
            Self::Settled => "settled",
            Self::Cancelled => "cancelled",
        }
    }

    /// Whether work is still recorded on it: until it is settled, because another phone of its crew
    /// may hand over hours after one of them called it finished.
    #[must_use]
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Booked | Self::UnderWay | Self::Finished)
    }

    /// Whether it counts as revenue: once the work is done.
    #[must_use]
    pub const fn is_earned(self) -> bool {
        matches!(self, Self::Finished | Self::Settled)
    }
}

/// Where a command leads.
///
/// ```text
/// start:      booked → under way
/// finish:     booked, under way → finished
/// hand back:  under way → booked
/// ```
///
/// # Errors
/// [`Refused`] with the state the job is in.
pub const fn step(current: State, command: Command, expects: State) -> Result<State, Refused> {
    if !same(current, expects) {
        return Err(Refused::Late { current });
    }
    match (command, current) {
        (Command::Start, State::Booked) => Ok(State::UnderWay),
        (Command::Finish, State::Booked | State::UnderWay) => Ok(State::Finished),
        (Command::HandBack, State::UnderWay) => Ok(State::Booked),
        _ => Err(Refused::NoSuchStep { current }),
    }
}

/// Whether the office may move a job so: anywhere among the open states, from there to settled or
/// cancelled, and no way back.
#[must_use]
pub const fn may_edit(from: State, to: State) -> bool {
    from.is_open() || same(from, to)
}

const fn same(a: State, b: State) -> bool {
    // `==` is no constant function yet.
    matches!(
        (a, b),
        (State::Booked, State::Booked)
            | (State::UnderWay, State::UnderWay)
            | (State::Finished, State::Finished)
            | (State::Settled, State::Settled)
            | (State::Cancelled, State::Cancelled)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const COMMANDS: [Command; 3] = [Command::Start, Command::Finish, Command::HandBack];

    #[test]
    fn a_job_is_started_handed_back_started_again_and_finished() {
        let mut state = State::Booked;
        for command in [Command::Start, Command::HandBack, Command::Start, Command::Finish] {
            state = step(state, command, state).expect("a step");
        }
        assert_eq!(state, State::Finished);
        assert_eq!(step(State::Booked, Command::Finish, State::Booked), Ok(State::Finished));
    }

    #[test]
    fn a_late_command_is_told_where_the_job_is() {
        let late = step(State::Settled, Command::Finish, State::UnderWay);
        assert_eq!(late, Err(Refused::Late { current: State::Settled }));
        let twice = step(State::Finished, Command::Finish, State::Finished);
        assert_eq!(twice, Err(Refused::NoSuchStep { current: State::Finished }));
    }

    #[test]
    fn nothing_leads_out_of_settled_or_cancelled() {
        for closed in [State::Settled, State::Cancelled] {
            assert!(!closed.is_open());
            for command in COMMANDS {
                assert!(step(closed, command, closed).is_err());
            }
            for to in State::ALL {
                assert_eq!(may_edit(closed, to), closed == to);
            }
        }
    }

    #[test]
    fn words_are_the_words_of_json() {
        for state in State::ALL {
            assert_eq!(State::from_word(state.word()), Some(state));
            assert_eq!(serde_json::to_value(state).expect("a word"), state.word());
        }
    }

    proptest! {
        /// However commands arrive, only open states are reached, and each step is a step from what
        /// its sender saw.
        #[test]
        fn commands_stay_among_the_open_states(sent in prop::collection::vec((0..3_usize, 0..5_usize), 0..40)) {
            let mut state = State::Booked;
            for (command, expects) in sent {
                let expects = State::ALL[expects];
                match step(state, COMMANDS[command], expects) {
                    Ok(next) => {
                        prop_assert_eq!(state, expects);
                        prop_assert!(next != state && next.is_open());
                        state = next;
                    }
                    Err(Refused::Late { current }) => prop_assert!(current == state && state != expects),
                    Err(Refused::NoSuchStep { current }) => prop_assert!(current == state && state == expects),
                }
            }
        }
    }
}
