//! How flammable a liquid counts as, from its flash point and initial boiling point.

use rust_decimal::Decimal;
use rust_decimal::dec;

/// Flammable-liquid category of the hazard communication standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FlashCategory {
    /// Flash point below 23 °C, initial boiling point at most 35 °C.
    One,
    /// Flash point below 23 °C, initial boiling point above 35 °C.
    Two,
    /// Flash point below 23 °C, boiling point not known: category 1 or 2.
    NeedsBoilingPoint,
    /// Flash point from 23 °C to 60 °C.
    Three,
    /// Flash point above 60 °C, at most 93 °C. Not used in EU CLP.
    Four,
    /// Flash point above 93 °C: not a flammable liquid.
    None,
}

/// Transport class of the liquid on United States roads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Transport {
    /// Class 3, packing group I.
    Class3PackingGroupI,
    /// Class 3, packing group II.
    Class3PackingGroupII,
    /// Class 3, packing group III.
    Class3PackingGroupIII,
    /// Class 3; the packing group depends on the boiling point, which is not known.
    Class3NeedsBoilingPoint,
    /// Above 60 °C and below 93 °C: combustible liquid, whose rules differ.
    Combustible,
    /// Not class 3.
    NotClass3,
}

/// What a flash point and a boiling point say together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FlashClass {
    /// Hazard category.
    pub category: FlashCategory,
    /// Transport class.
    pub transport: Transport,
}

/// Category and transport class of a liquid.
///
/// # Formula
/// ```text
/// 1: F < 23 and B <= 35     2: F < 23 and B > 35     3: 23 <= F <= 60     4: 60 < F <= 93     none: F > 93
/// transport, F <= 60: I when B <= 35; else II when F < 23, else III.   60 < F < 93: combustible.
/// F flash point (°C)   B initial boiling point (°C)
/// ```
/// Total: every pair of temperatures has an answer. Without a boiling point a flash point from 23 °C
/// up is taken as packing group III: a liquid boiling at 35 °C or less flashes far below that.
///
/// # Source
/// 29 CFR 1910.106(a)(19) and 1910.1200 Appendix B.6; UN GHS 2.6.2. Transport: 49 CFR 173.120-121,
/// from memory.
///
/// # Caution
/// Sections 2, 9 and 14 of the supplier's sheet govern; a mixture needs a test of its own.
///
/// # Example
/// ```
/// use dropwise_core::safety::flash_category::{FlashCategory, flash_class};
/// use rust_decimal::dec;
///
/// // Isopropyl alcohol: flashes at 12 °C, boils at 82.2 °C.
/// assert_eq!(flash_class(dec!(12), Some(dec!(82.2))).category, FlashCategory::Two);
/// ```
#[must_use]
pub fn flash_class(flash_point_c: Decimal, boiling_point_c: Option<Decimal>) -> FlashClass {
    use FlashCategory::{Four, NeedsBoilingPoint, None as NoCategory, One, Three, Two};
    let low = flash_point_c < dec!(23);
    let boils_low = boiling_point_c.map(|boiling| boiling <= dec!(35));
    let category = match boils_low {
        Some(true) if low => One,
        Some(false) if low => Two,
        None if low => NeedsBoilingPoint,
        _ if flash_point_c <= dec!(60) => Three,
        _ if flash_point_c <= dec!(93) => Four,
        _ => NoCategory,
    };
    let transport = if flash_point_c >= dec!(93) {
        Transport::NotClass3
    } else if flash_point_c > dec!(60) {
        Transport::Combustible
    } else {
        match boils_low {
            Some(true) => Transport::Class3PackingGroupI,
            None if low => Transport::Class3NeedsBoilingPoint,
            Some(false) if low => Transport::Class3PackingGroupII,
            _ => Transport::Class3PackingGroupIII,
        }
    };
    FlashClass { category, transport }
}

impl FlashCategory {
    /// The hazard statement that goes with the category; none when the category is open or empty.
    #[must_use]
    pub const fn hazard_code(self) -> Option<&'static str> {
        match self {
            Self::One => Some("H224"),
            Self::Two => Some("H225"),
            Self::Three => Some("H226"),
            Self::Four => Some("H227"),
            Self::NeedsBoilingPoint | Self::None => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_packing_group_goes_by_the_boiling_point_first() {
        let class = flash_class(dec!(30), Some(dec!(35)));
        assert_eq!((class.category, class.transport), (FlashCategory::Three, Transport::Class3PackingGroupI));
        assert_eq!(flash_class(dec!(30), None).transport, Transport::Class3PackingGroupIII);
        assert_eq!(flash_class(dec!(22.99), None).transport, Transport::Class3NeedsBoilingPoint);
    }

    #[test]
    fn the_combustible_range_ends_before_ninety_three() {
        assert_eq!(flash_class(dec!(92.9), None).transport, Transport::Combustible);
        assert_eq!(flash_class(dec!(93), None).transport, Transport::NotClass3);
    }
}
