//! Who asks, and what that lets them do. A permission is a type that only this room can make.
//!
//! Never: SQL, requests, the clock. Hashing runs off the request threads, bounded.

pub mod device_key;
pub mod entry_code;
mod keys;
pub mod password;
pub mod refresh;
pub mod token;

pub use keys::Keys;

use crate::ids::{FleetId, MemberId, SessionId};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// What a member may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Works at the kerb; never sees money.
    Technician,
    /// Keeps stock and bookings; sees all but pay and closing.
    Office,
    /// Sees and does everything.
    Owner,
}

impl Role {
    /// The word in tables and tokens.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Technician => "technician",
            Self::Office => "office",
            Self::Owner => "owner",
        }
    }

    /// From the word in tables.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Technician, Self::Office, Self::Owner].into_iter().find(|role| role.word() == word)
    }
}

/// A member who has shown a token that holds, in a session that is still open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Who {
    /// Their business.
    pub fleet: FleetId,
    /// Their id.
    pub member: MemberId,
    /// Their sign-in.
    pub session: SessionId,
    /// What they may do, as the records say now and not as the token said then.
    pub role: Role,
    /// The van or depot they work from.
    pub home_place: Option<Uuid>,
}

/// A proof that some role holds. Flows ask for one, so that no check can be forgotten.
pub trait Proof: Sized {
    /// The proof, or nothing.
    fn of(who: Who) -> Option<Self>;
}

macro_rules! proof {
    ($(#[$doc:meta])* $name:ident, $($role:pat_param)|+) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy)]
        pub struct $name(Who);

        impl $name {
            /// Who it is.
            #[must_use]
            pub const fn who(&self) -> Who {
                self.0
            }
        }

        impl Proof for $name {
            fn of(who: Who) -> Option<Self> {
                matches!(who.role, $($role)|+).then_some(Self(who))
            }
        }
    };
}

proof! {
    /// Anyone of the fleet.
    Member, Role::Technician | Role::Office | Role::Owner
}
proof! {
    /// Office or owner: may see stock, prices and costs.
    Office, Role::Office | Role::Owner
}
proof! {
    /// The owner: may see pay and change who may enter.
    Owner, Role::Owner
}
