//! Names people type and names people read.

use crate::error::Error;

/// Longest name on lists, in characters.
pub const LONGEST_NAME: usize = 120;

/// A name to show: not empty, one line, no blanks around it.
///
/// # Errors
/// [`Error::Invalid`] at `pointer`.
pub fn checked_name(name: &str, pointer: &'static str) -> Result<String, Error> {
    let name = name.trim();
    if name.is_empty() || name.chars().count() > LONGEST_NAME || name.chars().any(char::is_control) {
        return Err(Error::invalid_at(
            "bad_name",
            pointer,
            format!("A name is one line of 1 to {LONGEST_NAME} characters."),
        ));
    }
    Ok(name.to_owned())
}

/// What a fleet is called when signing in.
///
/// # Errors
/// [`Error::Invalid`] at `/handle`.
pub fn checked_fleet_handle(handle: &str) -> Result<String, Error> {
    checked_handle(handle, "-", "/handle", "letters a to z, digits and dashes")
}

/// What a member is called when signing in.
///
/// # Errors
/// [`Error::Invalid`] at `pointer`.
pub fn checked_member_handle(handle: &str, pointer: &'static str) -> Result<String, Error> {
    checked_handle(handle, "-._", pointer, "letters a to z, digits, dots, dashes and underscores")
}

fn checked_handle(handle: &str, marks: &str, pointer: &'static str, set: &str) -> Result<String, Error> {
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit();
    let fits = (2..=40).contains(&handle.len())
        && handle.starts_with(plain)
        && handle.chars().all(|c| plain(c) || marks.contains(c));
    if fits {
        return Ok(handle.to_owned());
    }
    Err(Error::invalid_at(
        "bad_handle",
        pointer,
        format!("A handle has 2 to 40 characters: small {set}, the first a letter or digit."),
    ))
}

/// A handle as it was meant: phones like to start with a capital and end with a blank. Whatever could
/// not be anybody's handle becomes the empty one, which is nobody's.
#[must_use]
pub fn typed_handle(typed: &str) -> String {
    let meant = typed.trim().to_ascii_lowercase();
    checked_member_handle(&meant, "").unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_handle_keeps_to_the_set_the_table_allows() {
        for good in ["ab", "van-2", "7up", &"a".repeat(40)] {
            assert!(checked_fleet_handle(good).is_ok(), "{good}");
        }
        for bad in ["", "a", "-a", "Ab", "a b", "a.b", "aé", &"a".repeat(41), "a\0b"] {
            assert!(checked_fleet_handle(bad).is_err(), "{bad}");
        }
        assert!(checked_member_handle("rosa.k_2", "/handle").is_ok());
        assert!(checked_member_handle(".rosa", "/handle").is_err());
    }

    #[test]
    fn a_typed_handle_is_read_as_it_was_meant() {
        assert_eq!(typed_handle(" Rosa "), "rosa");
        assert_eq!(typed_handle("rosa\0"), "");
        assert_eq!(typed_handle(&"x".repeat(1000)), "");
    }

    #[test]
    fn a_name_is_one_line() {
        assert_eq!(checked_name(" Rosa K. ", "/name").ok().as_deref(), Some("Rosa K."));
        for bad in ["", "  ", "two\nlines", "nul\0", &"n".repeat(121)] {
            assert!(checked_name(bad, "/name").is_err(), "{bad:?}");
        }
    }
}
