//! Whether the air in a parked van may reach a product's flash point, or an aerosol's limit.

use crate::CoreError;
use rust_decimal::{Decimal, RoundingStrategy, dec};

/// What the estimated air temperature is held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HeatLimit {
    /// A liquid's flash point (°C).
    FlashPoint(Decimal),
    /// A pressurised can: not above 50 °C.
    Aerosol,
}

/// How close the air may come to the limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum HeatLevel {
    /// Nothing to warn of by this estimate.
    None,
    /// Within 16.7 °C below the flash point.
    Near,
    /// At or above the flash point; for an aerosol, above 50 °C.
    Above,
}

/// An estimate of the air temperature and what it means for one product.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeatWarning {
    /// Rise of the air over the outside temperature (°C).
    pub rise_c: Decimal,
    /// Estimated air temperature (°C), to two decimals half-even; the level is judged before rounding.
    pub estimate_c: Decimal,
    /// The level.
    pub level: HeatLevel,
}

/// Within how many degrees below its flash point a liquid is handled as the next more severe group.
const NEAR_MARGIN_C: Decimal = dec!(16.7);

/// The most a pressurised can should meet (P412).
const AEROSOL_LIMIT_C: Decimal = dec!(50);

/// Greatest rise seen in a closed car on clear days: minutes parked, rise (°C). Flat afterwards.
const RISE: [(Decimal, Decimal); 5] = [
    (Decimal::ZERO, Decimal::ZERO),
    (dec!(5), dec!(4)),
    (dec!(10), dec!(7)),
    (dec!(30), dec!(16)),
    (dec!(60), dec!(26)),
];

/// Warns of heat in a parked van.
///
/// # Formula
/// ```text
/// T = A + r(m)     above: T >= F     near: T >= F - 16.7     aerosol above: T > 50
/// T estimate (°C)   A outside air (°C)   m minutes parked   F flash point (°C)
/// r rise (°C): straight lines through (0,0) (5,4) (10,7) (30,16) (60,26), flat after 60 minutes
/// ```
///
/// # Source
/// Rise: Grundstein, Dowd, Meentemeyer 2010, Bull. Amer. Meteor. Soc., doi 10.1175/2010BAMS2912.1.
/// Margin: 29 CFR 1910.106(a)(19)(iii)-(iv), 30 °F. Aerosol limit: GHS statement P412, 50 °C (122 °F).
/// Putting them together is a design of our own, not a regulation.
///
/// # Caution
/// The rise was measured in car cabins; a windowless cargo box behaves differently and a dashboard in
/// the sun gets hotter. A measured temperature replaces the estimate. `None` is no clearance: the
/// supplier's sheet (section 7) governs.
///
/// # Errors
/// [`CoreError::Invalid`] when the minutes are negative or the outside air is not a temperature met on
/// a road (-60 °C to 60 °C).
///
/// # Example
/// ```
/// use dropwise_core::safety::heat_level::{HeatLevel, HeatLimit, heat_warning};
/// use rust_decimal::dec;
///
/// // Isopropyl alcohol on a mild day: 20 + 16 = 36 °C after half an hour, and it flashes at 12 °C.
/// let warning = heat_warning(HeatLimit::FlashPoint(dec!(12)), dec!(20), dec!(30))?;
/// assert_eq!((warning.estimate_c, warning.level), (dec!(36.00), HeatLevel::Above));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn heat_warning(
    limit: HeatLimit,
    ambient_c: Decimal,
    minutes_parked: Decimal,
) -> Result<HeatWarning, CoreError> {
    const OUT: CoreError = CoreError::OutOfRange { what: "temperature" };
    if minutes_parked < Decimal::ZERO {
        return Err(CoreError::Invalid { what: "minutes parked", rule: "must not be negative" });
    }
    if ambient_c < dec!(-60) || ambient_c > dec!(60) {
        return Err(CoreError::Invalid {
            what: "outside temperature",
            rule: "must lie between -60 and 60 °C",
        });
    }
    let rise_c = rise(minutes_parked).ok_or(OUT)?;
    let air_c = ambient_c.checked_add(rise_c).ok_or(OUT)?;
    let level = match limit {
        HeatLimit::FlashPoint(flash_c) => {
            let near_from_c = flash_c.checked_sub(NEAR_MARGIN_C).ok_or(OUT)?;
            if air_c >= flash_c {
                HeatLevel::Above
            } else if air_c >= near_from_c {
                HeatLevel::Near
            } else {
                HeatLevel::None
            }
        }
        HeatLimit::Aerosol if air_c > AEROSOL_LIMIT_C => HeatLevel::Above,
        HeatLimit::Aerosol => HeatLevel::None,
    };
    let estimate_c = air_c.round_dp_with_strategy(2, RoundingStrategy::MidpointNearestEven);
    Ok(HeatWarning { rise_c, estimate_c, level })
}

/// Multiplies before it divides, so that every whole minute on a line through whole numbers is exact
/// where it can be.
fn rise(minutes: Decimal) -> Option<Decimal> {
    for (from, to) in RISE.into_iter().zip(RISE.into_iter().skip(1)) {
        if minutes <= to.0 {
            let run = to.0.checked_sub(from.0)?;
            let climb = to.1.checked_sub(from.1)?;
            let along = minutes.checked_sub(from.0)?.checked_mul(climb)?.checked_div(run)?;
            return from.1.checked_add(along);
        }
    }
    RISE.last().map(|last| last.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rise_meets_its_knots_and_is_flat_after_an_hour() {
        for (minutes, rise_c) in [(0, 0), (5, 4), (10, 7), (30, 16), (60, 26), (61, 26), (600, 26)] {
            assert_eq!(rise(minutes.into()), Some(rise_c.into()), "{minutes} min");
        }
    }

    #[test]
    fn the_level_is_judged_before_rounding() {
        // 40 minutes give 16 + 10/3 = 19.333...; a flash point just above is not reached, though it rounds alike.
        let warning =
            heat_warning(HeatLimit::FlashPoint(dec!(19.334)), dec!(0), dec!(40)).expect("a warning");
        assert_eq!((warning.estimate_c, warning.level), (dec!(19.33), HeatLevel::Near));
        let reached =
            heat_warning(HeatLimit::FlashPoint(dec!(19.333)), dec!(0), dec!(40)).expect("a warning");
        assert_eq!(reached.level, HeatLevel::Above);
    }

    #[test]
    fn a_parking_time_below_zero_and_air_off_any_road_are_refused() {
        assert!(heat_warning(HeatLimit::Aerosol, dec!(20), dec!(-1)).is_err());
        assert!(heat_warning(HeatLimit::Aerosol, dec!(61), dec!(1)).is_err());
    }
}
