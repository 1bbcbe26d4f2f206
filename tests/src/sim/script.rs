//! What happens in a run: a list of steps made from one seed before anything has happened, each with
//! whatever chance it needs in itself. Any of them can be left out, and the rest still means something:
//! that is how a failing run is made small.

use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt, SeedableRng};
use std::fmt;
use std::str::FromStr;

/// What happens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// Somebody writes an intent down on a phone.
    Write,
    /// A phone looks whether there is something to ask.
    Wake,
    /// A message arrives.
    Deliver,
    /// A transaction commits.
    Commit,
    /// A phone carries out one durable step.
    Settle,
    /// A message is lost.
    Lose,
    /// A request arrives twice.
    Double,
    /// A phone gives up waiting.
    TimeOut,
    /// A phone dies and is switched on again.
    Crash,
    /// The office does something.
    Office,
    /// The server dies and starts again: what had not committed never was.
    Restart,
    /// A backup is taken.
    BackUp,
    /// The newest backup takes the place of the database.
    Restore,
    /// A phone's clock jumps.
    Clock,
    /// A phone loses or finds its network.
    Network,
    /// Time passes.
    Pause,
    /// Tombstones are forgotten.
    Sweep,
    /// A phone is copied onto another.
    Clone,
    /// The network heals, everybody finishes, and everything is checked.
    Quiet,
}

/// How often each happens, of a thousand steps.
const OFTEN: [(Act, u32); 19] = [
    (Act::Write, 170),
    (Act::Wake, 240),
    (Act::Deliver, 290),
    (Act::Commit, 140),
    (Act::Settle, 40),
    (Act::Lose, 12),
    (Act::Double, 12),
    (Act::TimeOut, 10),
    (Act::Crash, 8),
    (Act::Office, 40),
    (Act::Restart, 4),
    (Act::BackUp, 5),
    (Act::Restore, 1),
    (Act::Clock, 5),
    (Act::Network, 10),
    (Act::Pause, 6),
    (Act::Sweep, 4),
    (Act::Clone, 1),
    (Act::Quiet, 1),
];

/// One step and the chance in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// What happens.
    pub act: Act,
    /// Decides everything about it that is not decided by the state of things.
    pub salt: u32,
}

/// The steps of a seed.
#[must_use]
pub fn script(seed: u64, steps: usize) -> Vec<Step> {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let whole: u32 = OFTEN.iter().map(|(_, share)| share).sum();
    let step = || {
        let mut left = rng.random_range(0..whole);
        let (act, _) = OFTEN
            .iter()
            .find(|(_, share)| {
                let hit = left < *share;
                left = left.saturating_sub(*share);
                hit
            })
            .expect("the shares cover the range");
        Step { act: *act, salt: rng.random() }
    };
    std::iter::repeat_with(step).take(steps).collect()
}

impl fmt::Display for Step {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{:?}:{:x}", self.act, self.salt)
    }
}

impl FromStr for Step {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("{text} is no step");
        let (name, salt) = text.split_once(':').ok_or_else(wrong)?;
        let (act, _) = OFTEN.iter().find(|(act, _)| format!("{act:?}") == name).ok_or_else(wrong)?;
        Ok(Self { act: *act, salt: u32::from_str_radix(salt, 16).map_err(|_| wrong())? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seed_makes_one_script_with_everything_in_it_and_a_script_can_be_written_down() {
        let steps = script(7, 20_000);
        assert_eq!(steps, script(7, 20_000));
        assert_ne!(steps, script(8, 20_000));
        for (act, _) in OFTEN {
            assert!(steps.iter().any(|step| step.act == act), "{act:?} never happens");
        }
        for step in &steps[..500] {
            assert_eq!(step.to_string().parse(), Ok(*step));
        }
    }
}
