//! The incomplete gamma functions in the two forms pad life needs, safe at every argument.

use statrs::function::gamma::{checked_gamma_lr, checked_gamma_ur, ln_gamma};

/// Terms after which the continued fraction has long settled for every argument it is used for.
const MOST_TERMS: u32 = 10_000;

/// `P(a, x)`, the regularised lower incomplete gamma function for `a > 0`, `x >= 0`.
pub(super) fn lower_regularised(a: f64, x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if x.is_infinite() {
        1.0
    } else {
        checked_gamma_lr(a, x).unwrap_or(f64::NAN)
    }
}

/// `e^x Gamma(a, x)`, the upper incomplete gamma function freed of its exponential decay, for `a > 0`,
/// `x >= 0`. The library offers only the unscaled one, which vanishes from `x` = 745 on.
///
/// # Formula
/// ```text
/// e^x Gamma(a, x) = x^a / (x + 1 - a - 1 (1 - a)/(x + 3 - a - 2 (2 - a)/(x + 5 - a - ...)))
/// ```
/// # Source
/// Abramowitz and Stegun 6.5.31, in its even part (from memory).
pub(super) fn upper_scaled(a: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return ln_gamma(a).exp();
    }
    if x < 1.0 || x <= a + 1.0 {
        let q = checked_gamma_ur(a, x).unwrap_or(f64::NAN);
        return (x + ln_gamma(a) + q.ln()).exp();
    }
    x.powf(a) * continued_fraction(a, x)
}

/// Lentz's method, as modified by Thompson and Barnett (from memory).
fn continued_fraction(a: f64, x: f64) -> f64 {
    let mut denominator = x + 1.0 - a;
    let mut inverse = 1.0 / denominator;
    let mut ratio = f64::INFINITY;
    let mut value = inverse;
    let mut n = 0.0;
    for _ in 0..MOST_TERMS {
        n += 1.0;
        let numerator = -n * (n - a);
        denominator += 2.0;
        inverse = 1.0 / (numerator * inverse + denominator);
        ratio = denominator + numerator / ratio;
        let factor = ratio * inverse;
        value *= factor;
        if (factor - 1.0).abs() <= f64::EPSILON {
            break;
        }
    }
    value
}
