//! An opaque place in the trail, signed, so that a phone can neither make one up nor use another's.

use crate::auth::Keys;
use crate::ids::FleetId;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use uuid::Uuid;

const VERSION: u8 = 1;
const MAC_BYTES: usize = 16;

/// A place in one fleet's trail, as seen by one audience.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bookmark {
    /// Whose trail.
    pub fleet: FleetId,
    /// The van whose rows were read with it; nil for none.
    pub place: Uuid,
    /// The last position read.
    pub position: i64,
}

impl Bookmark {
    /// The text a phone keeps.
    #[must_use]
    pub fn text(&self, keys: &Keys) -> String {
        let mut bytes = vec![VERSION];
        bytes.extend_from_slice(self.fleet.0.as_bytes());
        bytes.extend_from_slice(self.place.as_bytes());
        bytes.extend_from_slice(&self.position.to_be_bytes());
        let mac = keys.seal(&bytes);
        bytes.extend(mac.iter().take(MAC_BYTES));
        URL_SAFE_NO_PAD.encode(bytes)
    }

    /// From the text, if this server wrote it.
    #[must_use]
    pub fn read(text: &str, keys: &Keys) -> Option<Self> {
        let bytes = URL_SAFE_NO_PAD.decode(text).ok()?;
        let (said, mac) = bytes.split_at_checked(bytes.len().checked_sub(MAC_BYTES)?)?;
        if !keys.sealed(said, mac) {
            return None;
        }
        let (version, rest) = said.split_first()?;
        let (fleet, rest) = rest.split_first_chunk::<16>()?;
        let (place, rest) = rest.split_first_chunk::<16>()?;
        let position = i64::from_be_bytes(rest.try_into().ok()?);
        (*version == VERSION).then_some(Self {
            fleet: FleetId(Uuid::from_bytes(*fleet)),
            place: Uuid::from_bytes(*place),
            position,
        })
    }
}
