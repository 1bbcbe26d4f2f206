//! What may go wrong, in the words of the person who asked; `http/problem.rs` chooses the status.
//!
//! Text for the client and the source for the log are two fields. Whatever nobody foresaw is our
//! fault and answered as such, never blamed on the request.

use serde_json::Value;

/// Why a request has no answer.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Nothing of that id in this fleet, or nothing this member may know of.
    #[error("not found")]
    NotFound,
    /// The request does not say who asks, or not in a way that holds.
    #[error("not signed in")]
    NotSignedIn,
    /// What was shown to get in does not hold; never says which part.
    #[error("{code}")]
    Unproven {
        /// Stable word.
        code: &'static str,
        /// What to do.
        sentence: &'static str,
    },
    /// Who asks may not do this.
    #[error("not allowed")]
    NotAllowed,
    /// An input is wrong; `pointer` is the JSON pointer of the field.
    #[error("{code}: {sentence}")]
    Invalid {
        /// Stable word.
        code: &'static str,
        /// What is wrong and what to do.
        sentence: String,
        /// Where.
        pointer: Option<String>,
    },
    /// A fact that cannot be booked.
    #[error("{code}: {sentence}")]
    Refused {
        /// Stable word.
        code: String,
        /// What is wrong and what to do.
        sentence: String,
        /// Where, inside the entry.
        pointer: Option<String>,
    },
    /// The request is well formed but the state of the records forbids it.
    #[error("{code}: {sentence}")]
    Conflict {
        /// Stable word.
        code: &'static str,
        /// What is wrong and what to do.
        sentence: String,
    },
    /// The request goes on from where things do not stand; here is where they do.
    #[error("{code}: {sentence}")]
    OutOfStep {
        /// Stable word.
        code: &'static str,
        /// What to do.
        sentence: &'static str,
        /// How things stand.
        current: Value,
    },
    /// There is no room left where files are kept.
    #[error("the store of files is full")]
    StoreFull,
    /// What was kept is not what comes back from the store.
    #[error("a stored file is damaged: {what}")]
    Damaged {
        /// For the log only.
        what: String,
    },
    /// Edits must say which version they were made from.
    #[error("an edit needs If-Match")]
    VersionMissing,
    /// The card has been edited since; here is how it stands.
    #[error("stale edit")]
    Stale {
        /// The current card.
        current: Value,
    },
    /// What the request goes on from is no longer there.
    #[error("{code}: {sentence}")]
    Gone {
        /// Stable word.
        code: &'static str,
        /// What to do instead.
        sentence: &'static str,
        /// The next step, as a stable word.
        next: &'static str,
        /// Audiences that are not read any more.
        drop: Vec<uuid::Uuid>,
    },
    /// More than is taken at once.
    #[error("{code}: {sentence}")]
    TooLarge {
        /// Stable word.
        code: &'static str,
        /// The limit.
        sentence: String,
    },
    /// The app is older than what reading is answered to.
    #[error("app too old, at least {minimum}")]
    AppTooOld {
        /// The oldest version that is answered.
        minimum: String,
    },
    /// Another handover of the same lane is under way.
    #[error("lane busy")]
    LaneBusy,
    /// Too often.
    #[error("too many requests")]
    TooMany {
        /// Seconds to wait.
        retry_after_s: u64,
    },
    /// Busy or cut off from the database; trying again later is right.
    #[error("unavailable: {why}")]
    Unavailable {
        /// For the log.
        why: String,
        /// Seconds to wait.
        retry_after_s: u64,
    },
    /// The whole transaction may simply be tried again.
    #[error("transaction to be retried: {0}")]
    Retry(String),
    /// Two writers met on the same new key.
    #[error("already there: {0}")]
    Duplicate(String),
    /// Ours.
    #[error("{what}")]
    Internal {
        /// For the log only.
        what: String,
    },
}

impl Error {
    /// A wrong input without a known place.
    #[must_use]
    pub fn invalid(code: &'static str, sentence: impl Into<String>) -> Self {
        Self::Invalid { code, sentence: sentence.into(), pointer: None }
    }

    /// A wrong input at a JSON pointer.
    #[must_use]
    pub fn invalid_at(code: &'static str, pointer: impl Into<String>, sentence: impl Into<String>) -> Self {
        Self::Invalid { code, sentence: sentence.into(), pointer: Some(pointer.into()) }
    }

    /// The records forbid it.
    #[must_use]
    pub fn conflict(code: &'static str, sentence: impl Into<String>) -> Self {
        Self::Conflict { code, sentence: sentence.into() }
    }

    /// Where two writers met on a new key, what that means to whoever asked; any other error as it is.
    #[must_use]
    pub fn when_taken(self, meaning: impl FnOnce(String) -> Self) -> Self {
        if let Self::Duplicate(key) = self { meaning(key) } else { self }
    }

    /// Ours, with a word for the log.
    #[must_use]
    pub fn internal(what: impl std::fmt::Display) -> Self {
        Self::Internal { what: what.to_string() }
    }

    /// The same error, where a pointer counts from further out: `/name` under `/body` is `/body/name`.
    #[must_use]
    pub fn under(self, outer: &str) -> Self {
        if let Self::Invalid { code, sentence, pointer } = self {
            let pointer = Some(format!("{outer}{}", pointer.unwrap_or_default()));
            Self::Invalid { code, sentence, pointer }
        } else {
            self
        }
    }
}

/// A JSON pointer (RFC 6901) to where reading a document stopped; `None` for the whole of it.
#[must_use]
pub fn pointer_to(path: &serde_path_to_error::Path) -> Option<String> {
    use serde_path_to_error::Segment;
    let out: String = path
        .iter()
        .map(|segment| match segment {
            Segment::Seq { index } => format!("/{index}"),
            Segment::Map { key } => format!("/{}", key.replace('~', "~0").replace('/', "~1")),
            Segment::Enum { .. } | Segment::Unknown => String::new(),
        })
        .collect();
    (!out.is_empty()).then_some(out)
}
