//! An opaque place in the trail, signed, so that a phone can neither make one up nor use another's.

use super::rules::going_on::Mark;
use crate::auth::Keys;
use crate::ids::{FleetId, MemberId};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use uuid::Uuid;

/// The first byte of everything of this kind that is sealed: a bookmark is never taken for another thing.
const VERSION: u8 = 2;
const MAC_BYTES: usize = 16;

/// A place in one fleet's trail, as read by one member.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bookmark {
    /// In which history.
    pub era: Uuid,
    /// Whose trail.
    pub fleet: FleetId,
    /// Who read.
    pub member: MemberId,
    /// The van whose rows were read with it; nil for none.
    pub place: Uuid,
    /// The revision of the reader's scope.
    pub scope: i64,
    /// The last position read.
    pub position: i64,
}

impl Bookmark {
    /// The text a phone keeps.
    #[must_use]
    pub fn text(&self, keys: &Keys) -> String {
        let mut bytes = Vec::with_capacity(81);
        for id in [self.era, self.fleet.0, self.member.0, self.place] {
            bytes.extend_from_slice(id.as_bytes());
        }
        bytes.extend_from_slice(&self.scope.to_be_bytes());
        bytes.extend_from_slice(&self.position.to_be_bytes());
        seal(VERSION, &bytes, keys)
    }

    /// From the text, if this server wrote it.
    #[must_use]
    pub fn read(text: &str, keys: &Keys) -> Option<Self> {
        let bytes = unseal(VERSION, text, keys)?;
        let (era, rest) = bytes.split_first_chunk::<16>()?;
        let (fleet, rest) = rest.split_first_chunk::<16>()?;
        let (member, rest) = rest.split_first_chunk::<16>()?;
        let (place, rest) = rest.split_first_chunk::<16>()?;
        let (scope, rest) = rest.split_first_chunk::<8>()?;
        let position = i64::from_be_bytes(rest.try_into().ok()?);
        Some(Self {
            era: Uuid::from_bytes(*era),
            fleet: FleetId(Uuid::from_bytes(*fleet)),
            member: MemberId(Uuid::from_bytes(*member)),
            place: Uuid::from_bytes(*place),
            scope: i64::from_be_bytes(*scope),
            position,
        })
    }

    /// What is decided on.
    #[must_use]
    pub const fn mark(&self) -> Mark {
        Mark { era: *self.era.as_bytes(), scope: self.scope, position: self.position }
    }
}

/// Bytes under a version and a seal, as text.
pub(super) fn seal(version: u8, bytes: &[u8], keys: &Keys) -> String {
    let mut out = Vec::with_capacity(1 + bytes.len() + MAC_BYTES);
    out.push(version);
    out.extend_from_slice(bytes);
    let mac = keys.seal(&out);
    out.extend(mac.iter().take(MAC_BYTES));
    URL_SAFE_NO_PAD.encode(out)
}

/// The bytes under the seal, when the seal is ours and the version the one expected.
pub(super) fn unseal(version: u8, text: &str, keys: &Keys) -> Option<Vec<u8>> {
    let mut bytes = URL_SAFE_NO_PAD.decode(text).ok()?;
    let mac = bytes.split_off(bytes.len().checked_sub(MAC_BYTES)?);
    let right = keys.sealed(&bytes, &mac);
    let (found, said) = bytes.split_first()?;
    (right && *found == version).then(|| said.to_vec())
}
