//! How the entries fared: taken, refused as meant, or refused to everybody's surprise.

use super::phone::Expected;
use crate::flows::entries::{Incoming, Verdict};
use std::collections::BTreeMap;

/// Counts of verdicts.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// Entries taken, by kind.
    pub taken: BTreeMap<String, u32>,
    /// Mistakes made on purpose and refused as they should be, by code.
    pub refused: BTreeMap<String, u32>,
    /// Everything that fared otherwise than meant: kind, id, what was said.
    pub surprises: Vec<String>,
}

impl Tally {
    pub(super) fn count(&mut self, entry: &Incoming, expected: Expected, verdict: &Verdict) {
        match (verdict, expected) {
            (Verdict::Taken, None) => *self.taken.entry(entry.kind.clone()).or_default() += 1,
            (Verdict::Refused(why), Some(code)) if why.code == code => {
                *self.refused.entry(code.to_owned()).or_default() += 1;
            }
            (verdict, _) => {
                let why = verdict.refusal().map_or("", |why| &why.code);
                let line =
                    format!("{} {} of {}: {} {why}", entry.kind, entry.id, entry.happened_at, verdict.word());
                self.surprises.push(line);
            }
        }
    }

    /// All entries taken.
    #[must_use]
    pub fn all_taken(&self) -> u32 {
        self.taken.values().sum()
    }

    /// All mistakes made on purpose.
    #[must_use]
    pub fn all_refused(&self) -> u32 {
        self.refused.values().sum()
    }
}
