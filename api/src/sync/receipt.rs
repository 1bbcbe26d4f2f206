//! What a phone is given for its last handover: proof of how far its lane had come in which history.

use super::bookmark::{seal, unseal};
use crate::auth::Keys;
use crate::ids::LaneId;
use uuid::Uuid;

const VERSION: u8 = 4;

/// How far a lane had come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Receipt {
    /// In which history.
    pub era: Uuid,
    /// Which lane.
    pub lane: LaneId,
    /// The last number judged.
    pub last_n: i64,
}

impl Receipt {
    /// The text a phone keeps and shows with its next handover.
    #[must_use]
    pub fn text(&self, keys: &Keys) -> String {
        let parts: [&[u8]; 3] = [self.era.as_bytes(), self.lane.0.as_bytes(), &self.last_n.to_be_bytes()];
        seal(VERSION, &parts.concat(), keys)
    }

    /// From the text, if this server wrote it.
    #[must_use]
    pub fn read(text: &str, keys: &Keys) -> Option<Self> {
        let said = unseal(VERSION, text, keys)?;
        let (era, rest) = said.split_first_chunk::<16>()?;
        let (lane, rest) = rest.split_first_chunk::<16>()?;
        let last_n = i64::from_be_bytes(rest.try_into().ok()?);
        Some(Self { era: Uuid::from_bytes(*era), lane: LaneId(Uuid::from_bytes(*lane)), last_n })
    }

    /// Whether it proves that the database knew more of this lane once, in the history it claims to be.
    #[must_use]
    pub fn proves_a_restore(&self, era: Uuid, lane: LaneId, last_n: i64) -> bool {
        self.era == era && self.lane == lane && self.last_n > last_n
    }
}
