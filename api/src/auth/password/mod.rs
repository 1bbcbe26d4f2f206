//! Passwords: what is acceptable, and hashing with Argon2id off the request threads.
//!
//! Length alone counts (NIST SP 800-63B: at least 15 characters where a password stands alone, no
//! rules of composition, nothing cut or folded), less those that merely repeat a few characters.

mod argon;
mod hasher;

pub use hasher::{Checked, Hasher, HashingError};

use secrecy::{ExposeSecret, SecretString};
use std::collections::HashSet;

/// Shortest password, in characters.
pub const SHORTEST: usize = 15;
/// Longest password, in characters; longer would only serve to keep the hasher busy.
pub const LONGEST: usize = 256;
/// Fewest different characters.
const FEWEST_DISTINCT: usize = 6;

/// Whether a new password will do.
///
/// # Errors
/// The sentence to show.
pub fn acceptable(password: &SecretString) -> Result<(), &'static str> {
    let text = password.expose_secret();
    let length = text.chars().count();
    if length < SHORTEST {
        return Err("a password needs at least 15 characters; a few unrelated words are easiest to remember");
    }
    if length > LONGEST {
        return Err("a password may have at most 256 characters");
    }
    if text.chars().collect::<HashSet<_>>().len() < FEWEST_DISTINCT {
        return Err("this password repeats a few characters and is soon guessed; choose another");
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn secret(text: &str) -> SecretString {
        text.to_owned().into()
    }

    #[test]
    fn length_counts_in_characters_of_any_script_and_nothing_else_is_asked() {
        for good in [
            "fifteen  chars!",
            "пять серых цапель",
            "鷺が五羽、川の浅瀬に立っている。",
            &"long words ".repeat(23),
        ] {
            assert!(acceptable(&secret(good)).is_ok(), "{good}");
        }
        for bad in ["", "fourteen chars", "鷺が五羽、川の浅瀬に", &"ab".repeat(20), &"abcdefgh".repeat(33)]
        {
            assert!(acceptable(&secret(bad)).is_err(), "{bad}");
        }
    }
}
