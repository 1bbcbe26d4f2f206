//! Entry codes: 130 random bits in letters and digits that are read out and typed without mistakes.

use aws_lc_rs::rand::{SecureRandom, SystemRandom};
use secrecy::{ExposeSecret, SecretString};
use sha2::{Digest, Sha256};

/// Crockford's base 32: no I, L, O, U.
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Characters of a code: 26 × 5 bits.
const LENGTH: usize = 26;

/// A code. Shown once to whoever made it; kept only as a hash.
#[derive(Debug, Clone)]
pub struct EntryCode(SecretString);

impl EntryCode {
    /// A fresh code.
    ///
    /// # Errors
    /// A word for the log when the machine has no randomness.
    pub fn fresh() -> Result<Self, &'static str> {
        let mut bytes = [0_u8; LENGTH];
        SystemRandom::new().fill(&mut bytes).map_err(|_| "no randomness")?;
        // 256 is a multiple of 32: every letter is equally likely.
        let letters = bytes.iter().filter_map(|byte| ALPHABET.get(usize::from(byte % 32)));
        Ok(Self(letters.map(|letter| char::from(*letter)).collect::<String>().into()))
    }

    /// From what was typed: case, spaces and dashes do not count, and letters that look like digits
    /// are read as those.
    #[must_use]
    pub fn read(typed: &SecretString) -> Option<Self> {
        let mut letters = String::with_capacity(LENGTH);
        for typed in typed.expose_secret().chars().filter(|c| !c.is_whitespace() && *c != '-') {
            let letter = match typed.to_ascii_uppercase() {
                'O' => '0',
                'I' | 'L' => '1',
                other => other,
            };
            let known = u8::try_from(letter).is_ok_and(|byte| ALPHABET.contains(&byte));
            if !known || letters.len() == LENGTH {
                return None;
            }
            letters.push(letter);
        }
        (letters.len() == LENGTH).then(|| Self(letters.into()))
    }

    /// The text to hand over, in groups.
    #[must_use]
    pub fn text(&self) -> SecretString {
        let mut grouped = String::with_capacity(LENGTH + 6);
        for (i, letter) in self.0.expose_secret().chars().enumerate() {
            if i > 0 && i % 5 == 0 {
                grouped.push('-');
            }
            grouped.push(letter);
        }
        grouped.into()
    }

    /// What the database keeps. A plain hash will do: there are too many codes to try.
    #[must_use]
    pub fn hash(&self) -> Vec<u8> {
        Sha256::digest(self.0.expose_secret()).to_vec()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

    use super::*;

    #[test]
    fn a_code_is_read_however_it_is_typed() {
        let code = EntryCode::fresh().unwrap();
        let shown = code.text();
        let sloppy =
            shown.expose_secret().to_lowercase().replace('-', " ").replace('0', "o").replace('1', "l");
        assert_eq!(EntryCode::read(&sloppy.into()).unwrap().hash(), code.hash());
    }

    #[test]
    fn too_short_too_long_and_foreign_letters_are_no_code() {
        let shown = EntryCode::fresh().unwrap().text().expose_secret().to_owned();
        for typed in [&shown[1..], &format!("{shown}0"), &format!("{}U", &shown[1..]), "", "ü"] {
            assert!(EntryCode::read(&typed.to_owned().into()).is_none(), "{typed}");
        }
    }

    #[test]
    fn no_two_codes_are_alike_and_none_is_printed() {
        let (one, other) = (EntryCode::fresh().unwrap(), EntryCode::fresh().unwrap());
        assert_ne!(one.hash(), other.hash());
        assert!(!format!("{one:?}").contains(&one.text().expose_secret()[..5]));
    }
}
