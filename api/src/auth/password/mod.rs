//! Passwords: what is acceptable, and hashing with Argon2id off the request threads.
//!
//! Length counts (NIST SP 800-63B: at least 15 characters where a password stands alone, no rules of
//! composition, nothing cut or folded), less what is soon guessed: common passwords and words, names, runs
//! and rows of keys, repeated or strung together, and the words of the trade.

mod argon;
mod guesses;
mod hasher;
mod shop_words;

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
    if guesses::too_few(text) {
        return Err(
            "this password is made of what many people use and is soon guessed; a few unrelated words are better",
        );
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
    fn length_counts_in_characters_of_any_script_and_nothing_is_asked_of_their_kind() {
        for good in [
            "fifteen  chars!",
            "all small and no digit",
            "  blanks around count  ",
            "five grey herons wading",
            "rain on a tin roof at dawn",
            "NO SMALL LETTER HERE EITHER",
            "83920174650192837465",
            "kettle ladder orbit walnut",
            "the heron owns this river",
            "purple-bicycle-under-snow",
            "пять серых цапель",
            "Zwölf Boxkämpfer jagen",
            "πέντε γκρίζοι ερωδιοί",
            "鷺が五羽、川の浅瀬に立っている。",
            "다섯 마리의 왜가리가 걷는다",
            "خمسة طيور رمادية تمشي",
            "🦢🦆🦉🦩🦚🦜🐦🐧🕊🦃🐓🐤🐣🐥🪿",
            "x7#Lq2!vR9@mZ4$",
            "correct, if a little long, and with commas, as people write sentences that they remember",
            &"a river that bends nine times, ".repeat(8),
        ] {
            assert_eq!(acceptable(&secret(good)), Ok(()), "{good}");
        }
        for bad in [
            "",
            "fourteen chars",
            "鷺が五羽、川の浅瀬に",
            &"ab".repeat(20),
            &"five grey herons wading ".repeat(11),
        ] {
            assert!(acceptable(&secret(bad)).is_err(), "{bad}");
        }
    }

    #[test]
    fn what_is_soon_guessed_is_refused_however_long() {
        for bad in [
            "passwordpassword",
            "Password1Password1",
            "p4ssw0rdp4ssw0rd",
            "password12345678",
            "1234567890123456",
            "qwertyuiopasdfgh",
            "qwerty1234567890",
            "1q2w3e4r5t6y7u8i",
            "zxcvbnmasdfghjkl",
            "abcdefghijklmnop",
            "iloveyouiloveyou",
            "letmeinletmeinletmein",
            "sunshinesunshine",
            "trustno1trustno1",
            "welcome123456789",
            "supermansuperman",
            "monkeydragonshadow",
            "aaaaaaaaabcdefgh",
            "detailingdetailing",
            "detailingpolish",
            "dropwise dropwise",
            "carwashcarwashcarwash",
            "ceramiccoating123",
            "mobiledetailing2026",
        ] {
            assert!(acceptable(&secret(bad)).is_err(), "{bad}");
        }
    }
}
