//! CAS registry numbers: form and check digit.

use crate::CoreError;
use std::fmt;
use std::str::FromStr;

/// A well-formed CAS registry number.
///
/// # Formula
/// ```text
/// c = (1 d1 + 2 d2 + 3 d3 + ...) mod 10      d1 the digit just before the check digit c, d2 the one left of it ...
/// ```
/// Form: two to seven digits, the first not zero; a hyphen; two digits; a hyphen; the check digit.
///
/// # Source
/// CAS, check digit verification page; its worked example is 107-07-3.
///
/// # Caution
/// A right check digit does not prove that the number is the one meant: some slips pass (a digit of
/// an even weight changed by five, a digit of weight five changed by an even amount). The name on the
/// supplier's sheet decides.
///
/// # Example
/// ```
/// use dropwise_core::safety::cas_number::CasNumber;
///
/// // 1*7 + 2*0 + 3*7 + 4*0 + 5*1 = 33, and 33 mod 10 = 3
/// let cas: CasNumber = "107-07-3".parse()?;
/// assert_eq!(cas.weighted_sum(), 33);
/// assert_eq!(cas.to_string(), "107-07-3");
/// assert!("107-07-4".parse::<CasNumber>().is_err());
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CasNumber {
    /// The digits before the check digit, read as one number.
    body: u32,
    check: u8,
}

impl CasNumber {
    /// The weighted sum of the digits before the check digit.
    #[must_use]
    pub fn weighted_sum(self) -> u32 {
        weighted_sum(self.body)
    }

    /// The check digit.
    #[must_use]
    pub fn check_digit(self) -> u8 {
        self.check
    }
}

impl FromStr for CasNumber {
    type Err = CoreError;

    /// # Errors
    /// [`CoreError::Invalid`] when the form or the check digit is wrong.
    fn from_str(text: &str) -> Result<Self, CoreError> {
        const FORM: CoreError = CoreError::Invalid {
            what: "CAS number",
            rule: "is two to seven digits without a leading zero, a hyphen, two digits, a hyphen and a check digit",
        };
        let mut parts = text.split('-');
        let (Some(first), Some(second), Some(check), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(FORM);
        };
        let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
        let shaped = (2..=7).contains(&first.len()) && second.len() == 2 && check.len() == 1;
        if !shaped || first.starts_with('0') || ![first, second, check].into_iter().all(digits) {
            return Err(FORM);
        }
        // At most nine digits, so they fit.
        let body: u32 = format!("{first}{second}").parse().map_err(|_| FORM)?;
        let check: u8 = check.parse().map_err(|_| FORM)?;
        if weighted_sum(body) % 10 == u32::from(check) {
            Ok(Self { body, check })
        } else {
            Err(CoreError::Invalid {
                what: "CAS number",
                rule: "has a check digit that does not match the digits before it",
            })
        }
    }
}

impl fmt::Display for CasNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{:02}-{}", self.body / 100, self.body % 100, self.check)
    }
}

fn weighted_sum(body: u32) -> u32 {
    let digits = std::iter::successors(Some(body), |rest| Some(rest / 10)).take_while(|rest| *rest > 0);
    digits.zip(1..).map(|(rest, weight)| rest % 10 * weight).sum()
}
