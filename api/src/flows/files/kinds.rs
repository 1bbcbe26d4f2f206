//! What a file may be, and what it may be for.

use crate::error::Error;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a file is. Anything else is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub enum MediaType {
    /// A JPEG picture.
    #[serde(rename = "image/jpeg")]
    Jpeg,
    /// A PNG picture.
    #[serde(rename = "image/png")]
    Png,
    /// A PDF document.
    #[serde(rename = "application/pdf")]
    Pdf,
}

/// What a file is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// A photo of a job: JPEG or PNG.
    Photo,
    /// A supplier's safety sheet: PDF, from the office.
    Sheet,
}

impl MediaType {
    const ALL: [Self; 3] = [Self::Jpeg, Self::Png, Self::Pdf];

    /// As it is written in headers and tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
            Self::Pdf => "application/pdf",
        }
    }

    /// What the name of such a file ends with.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::Png => "png",
            Self::Pdf => "pdf",
        }
    }

    /// From the word in tables.
    pub(super) fn of_word(word: &str) -> Result<Self, Error> {
        let known = Self::ALL.into_iter().find(|kind| kind.word() == word);
        known.ok_or_else(|| Error::internal("unknown type in the tables of files"))
    }
}

impl Purpose {
    /// As it is written in tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Photo => "photo",
            Self::Sheet => "sheet",
        }
    }

    /// From the word in tables.
    pub(super) fn of_word(word: &str) -> Result<Self, Error> {
        let known = [Self::Photo, Self::Sheet].into_iter().find(|what| what.word() == word);
        known.ok_or_else(|| Error::internal("unknown purpose in the tables of files"))
    }

    /// Whether a file of that type can be for this.
    pub(super) const fn takes(self, media_type: MediaType) -> bool {
        matches!(
            (self, media_type),
            (Self::Photo, MediaType::Jpeg | MediaType::Png) | (Self::Sheet, MediaType::Pdf)
        )
    }
}
