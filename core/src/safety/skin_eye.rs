//! Classes for skin and eyes, as a sheet's section 2 names them.
//! Never says which class a mixture gets: that is [`super::dilution_class`].

use crate::CoreError;
use std::str::FromStr;

/// Skin class, the graver last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SkinClass {
    /// Category 2: irritant.
    Two,
    /// Category 1C.
    OneC,
    /// Category 1B.
    OneB,
    /// Category 1 without sub-category: at worst a 1A.
    One,
    /// Category 1A.
    OneA,
}

impl SkinClass {
    /// As printed, e.g. `1B`.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Two => "2",
            Self::OneC => "1C",
            Self::OneB => "1B",
            Self::OneA => "1A",
            Self::One => "1",
        }
    }

    pub(super) const fn is_corrosive(self) -> bool {
        !matches!(self, Self::Two)
    }
}

impl FromStr for SkinClass {
    type Err = CoreError;

    /// # Errors
    /// [`CoreError::Invalid`] when there is no such class.
    fn from_str(text: &str) -> Result<Self, CoreError> {
        [Self::Two, Self::OneC, Self::OneB, Self::OneA, Self::One]
            .into_iter()
            .find(|class| class.code() == text)
            .ok_or(CoreError::Invalid { what: "skin class", rule: "must be 1, 1A, 1B, 1C or 2" })
    }
}

/// Eye class, the graver last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum EyeClass {
    /// Category 2 (2A): irritant.
    Two,
    /// Category 1: serious damage.
    One,
}

impl EyeClass {
    /// As printed.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Two => "2",
            Self::One => "1",
        }
    }
}

impl FromStr for EyeClass {
    type Err = CoreError;

    /// # Errors
    /// [`CoreError::Invalid`] when there is no such class.
    fn from_str(text: &str) -> Result<Self, CoreError> {
        match text {
            "1" => Ok(Self::One),
            "2" => Ok(Self::Two),
            _ => Err(CoreError::Invalid { what: "eye class", rule: "must be 1 or 2" }),
        }
    }
}

/// A class for skin and one for eyes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SkinEye {
    /// Skin; none when not classified.
    pub skin: Option<SkinClass>,
    /// Eyes; none when not classified.
    pub eye: Option<EyeClass>,
}

impl SkinEye {
    pub(super) const CORROSIVE: Self = Self { skin: Some(SkinClass::One), eye: Some(EyeClass::One) };

    /// What corrodes skin damages eyes.
    pub(super) fn with_eye_following_skin(self) -> Self {
        if self.skin.is_some_and(SkinClass::is_corrosive) {
            Self { eye: Some(EyeClass::One), ..self }
        } else {
            self
        }
    }

    pub(super) fn is_corrosive(self) -> bool {
        self.skin.is_some_and(SkinClass::is_corrosive) || self.eye == Some(EyeClass::One)
    }

    pub(super) fn is_unclassified(self) -> bool {
        self == Self::default()
    }

    pub(super) fn graver_of(self, other: Self) -> Self {
        Self { skin: self.skin.max(other.skin), eye: self.eye.max(other.eye) }
    }
}
