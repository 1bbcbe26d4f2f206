//! How much there is of something: the last observation by time, and the facts after it.

use dropwise::sync::rules::stamp::Stamp;
use uuid::Uuid;

/// What one entry says about a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Says {
    /// So much more; less when negative.
    More(i64),
    /// So much was found.
    Found(i64),
}

/// A level and what it rests on, kept in the order things happened, not the order they arrived.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Level {
    facts: Vec<(Stamp, Uuid, Says)>,
    value: i64,
    corrected: i64,
}

impl Level {
    /// Books one fact where it belongs.
    pub fn book(&mut self, stamp: Stamp, entry: Uuid, says: Says) {
        let fact = (stamp, entry, says);
        let at = self.facts.partition_point(|other| *other <= fact);
        self.facts.insert(at, fact);
        self.sum_up();
    }

    /// Takes an entry's facts back.
    pub fn take_back(&mut self, entry: Uuid) {
        self.facts.retain(|(_, other, _)| *other != entry);
        self.sum_up();
    }

    /// Whether an entry says anything about it.
    #[must_use]
    pub fn rests_on(&self, entry: Uuid) -> bool {
        self.facts.iter().any(|(_, other, _)| *other == entry)
    }

    /// How much there is.
    #[must_use]
    pub fn value(&self) -> i64 {
        self.value
    }

    /// What observations found beyond what the facts explain.
    #[must_use]
    pub fn corrected(&self) -> i64 {
        self.corrected
    }

    /// How many facts it rests on.
    #[must_use]
    pub fn facts(&self) -> usize {
        self.facts.len()
    }

    fn sum_up(&mut self) {
        (self.value, self.corrected) = (0, 0);
        for (_, _, says) in &self.facts {
            match says {
                Says::More(more) => self.value += more,
                Says::Found(found) => {
                    self.corrected += found - self.value;
                    self.value = *found;
                }
            }
        }
    }
}
