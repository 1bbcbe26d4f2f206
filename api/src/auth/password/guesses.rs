//! How many guesses a password withstands from someone who knows what people choose.
//!
//! Estimated by `zxcvbn` (Wheeler, USENIX Security 2016), which carries the 30,000 most common passwords,
//! English words and names by frequency, and knows rows of keys, runs, dates, repeats and letters written as
//! digits; to them come the words of the trade.

use super::shop_words::SHOP_WORDS;

/// Fewest guesses: beyond what throttled guessing reaches, and what a stolen hash, slow as it is, gives away soon.
const FEWEST: u64 = 1_000_000_000;

/// Whether a password would be among the first thousand million guesses.
pub(super) fn too_few(password: &str) -> bool {
    zxcvbn::zxcvbn(password, &SHOP_WORDS).guesses() < FEWEST
}

#[cfg(test)]
mod tests {
    use super::too_few;
    use std::time::{Duration, Instant};

    #[test]
    fn the_longest_and_oddest_passwords_are_judged_in_bounded_time() {
        for text in [
            "ab".repeat(128),
            "aab".repeat(85),
            "p4ssw0rd".repeat(32),
            "1!lI|".repeat(51),
            "12/12/2012".repeat(25),
            "qazwsxedc".repeat(28),
            "\u{1f9a2}".repeat(256),
        ] {
            let start = Instant::now();
            let _ = too_few(&text);
            let took = start.elapsed();
            println!("{took:?} for {text:.12}");
            assert!(took < Duration::from_secs(5), "{took:?} for {text:.12}");
        }
    }
}
