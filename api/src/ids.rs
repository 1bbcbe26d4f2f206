//! Names of things as types, so that a member's id cannot be passed for a fleet's.
//!
//! Identity only, never order: ids may be made on phones whose clocks are wrong.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
        #[serde(transparent)]
        #[schema(value_type = Uuid)]
        pub struct $name(pub Uuid);

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }
    };
}

id! {
    /// One business: the tenant.
    FleetId
}
id! {
    /// One person who can sign in.
    MemberId
}
id! {
    /// One installation of the phone app.
    LaneId
}
id! {
    /// One sign-in with all its refreshed tokens.
    SessionId
}

/// A fresh time-ordered id, for what the server itself makes.
#[must_use]
pub fn fresh() -> Uuid {
    Uuid::now_v7()
}
