//! Whether a van's load stays within the materials-of-trade exception on United States highways.

use crate::CoreError;
use rust_decimal::{Decimal, dec};
use std::collections::BTreeSet;
use std::str::FromStr;

/// Hazard class or division, from section 14 of the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TransportClass {
    /// Not regulated in transport.
    NotRegulated,
    /// 2.1, flammable gas.
    FlammableGas,
    /// 2.2, non-flammable gas.
    NonFlammableGas,
    /// 3, flammable liquid.
    FlammableLiquid,
    /// 4.1, flammable solid.
    FlammableSolid,
    /// 4.3, dangerous when wet.
    DangerousWhenWet,
    /// 5.1, oxidiser.
    Oxidiser,
    /// 5.2, organic peroxide.
    OrganicPeroxide,
    /// 6.1, poison.
    Poison,
    /// 6.2, infectious.
    Infectious,
    /// 8, corrosive.
    Corrosive,
    /// 9, miscellaneous.
    Miscellaneous,
    /// A class or division the exception never covers: explosives, 2.3, 4.2, 7.
    NeverEligible,
}

impl FromStr for TransportClass {
    type Err = CoreError;

    /// # Errors
    /// [`CoreError::Invalid`] when the text is no class or division.
    fn from_str(text: &str) -> Result<Self, CoreError> {
        Ok(match text {
            "none" => Self::NotRegulated,
            "2.1" => Self::FlammableGas,
            "2.2" => Self::NonFlammableGas,
            "3" => Self::FlammableLiquid,
            "4.1" => Self::FlammableSolid,
            "4.3" => Self::DangerousWhenWet,
            "5.1" => Self::Oxidiser,
            "5.2" => Self::OrganicPeroxide,
            "6.1" => Self::Poison,
            "6.2" => Self::Infectious,
            "8" => Self::Corrosive,
            "9" => Self::Miscellaneous,
            "1.1" | "1.2" | "1.3" | "1.4" | "1.5" | "1.6" | "2.3" | "4.2" | "7" => Self::NeverEligible,
            _ => {
                return Err(CoreError::Invalid {
                    what: "transport class",
                    rule: "must be a class or division of section 14 of the sheet, e.g. 3 or 5.1, or none",
                });
            }
        })
    }
}

/// Degree of danger in transport.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PackingGroup {
    /// Great.
    I,
    /// Medium.
    II,
    /// Minor.
    III,
}

/// State of the material.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Liquid: the package's capacity counts.
    Liquid,
    /// Solid: the package's gross weight counts.
    Solid,
    /// Gas.
    Gas,
}

/// What the material is carried in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Container {
    /// Bottle, can, jug, pail, box.
    Receptacle,
    /// Gas cylinder.
    Cylinder,
    /// Aerosol can.
    AerosolCan,
    /// Tank of a diluted class 9 mixture.
    DiluteTank,
    /// Permanently mounted pressure tank.
    MountedTank,
}

/// What the exception never covers, whatever the class.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Exclusion {
    /// Self-reactive.
    SelfReactive,
    /// Poisonous by inhalation.
    PoisonByInhalation,
    /// Hazardous waste.
    HazardousWaste,
}

/// One kind of package aboard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Package {
    /// Class or division.
    pub class: TransportClass,
    /// Packing group, where the class has one.
    pub packing_group: Option<PackingGroup>,
    /// State of the material.
    pub state: State,
    /// What it is carried in.
    pub container: Container,
    /// How many equal packages; none aboard when zero.
    pub count: u32,
    /// Capacity of one package (l).
    pub capacity_l: Option<Decimal>,
    /// Gross mass of one package (kg).
    pub gross_kg_each: Decimal,
    /// Concentration (%), of a diluted mixture in a tank.
    pub concentration_pct: Option<Decimal>,
    /// What takes it out of the exception altogether.
    pub exclusions: BTreeSet<Exclusion>,
    /// Marked with a common name or proper shipping name.
    pub marked: bool,
    /// Closed, tight and held against shifting.
    pub closed_and_secured: bool,
}

/// The load of one van.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Load {
    /// One entry per kind of package; may be empty.
    pub packages: Vec<Package>,
    /// The driver was told what is aboard and what the exception asks.
    pub driver_informed: bool,
}

/// A rule of the exception, in the order of their names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum LoadRule {
    /// Class or division not eligible, or packing group missing.
    Eligible,
    /// Self-reactive, poisonous by inhalation, or hazardous waste.
    Excluded,
    /// Packing group I: at most 0.5 kg (solid, gross) or 0.5 l (liquid, capacity) a package.
    PackingGroupI,
    /// Packing groups II and III: at most 30 kg (solid, gross) or 30 l (liquid, capacity) a package.
    PackingGroupIIAndIII,
    /// Diluted class 9: at most 2 % and 1500 l.
    Diluted,
    /// Cylinder: at most 100 kg gross.
    Cylinder,
    /// Mounted tank: at most 70 gal of water, division 2.2 only.
    MountedTank,
    /// Division 4.3: at most 30 ml a package, never packing group I.
    WhenWet,
    /// All materials of trade on the vehicle: at most 200 kg gross, diluted class 9 tanks apart.
    Aggregate,
    /// Closed, tight, secured.
    Closed,
    /// Marked.
    Marked,
    /// Driver told.
    DriverTold,
    /// Review: an aerosol can is no cylinder.
    ReviewAerosol,
    /// Review: a figure the rules need is missing, or they give no limit for such a package.
    ReviewUnknown,
}

impl LoadRule {
    /// Its name in results, e.g. `MOT-08`.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Eligible => "MOT-01",
            Self::Excluded => "MOT-02",
            Self::PackingGroupI => "MOT-03",
            Self::PackingGroupIIAndIII => "MOT-04",
            Self::Diluted => "MOT-05",
            Self::Cylinder => "MOT-06",
            Self::MountedTank => "MOT-06T",
            Self::WhenWet => "MOT-07",
            Self::Aggregate => "MOT-08",
            Self::Closed => "MOT-09",
            Self::Marked => "MOT-10",
            Self::DriverTold => "MOT-11",
            Self::ReviewAerosol => "MOT-R1",
            Self::ReviewUnknown => "MOT-R2",
        }
    }

    /// What is wrong when it is named, in words.
    #[must_use]
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::Eligible => "the class or division is not eligible, or its packing group is missing",
            Self::Excluded => "self-reactive, poisonous by inhalation, or hazardous waste",
            Self::PackingGroupI => "a packing group I package holds more than 0.5 kg or 0.5 l",
            Self::PackingGroupIIAndIII => "a packing group II or III package holds more than 30 kg or 30 l",
            Self::Diluted => "a diluted class 9 mixture is over 2 % or over 1500 l",
            Self::Cylinder => "a cylinder is over 100 kg gross",
            Self::MountedTank => "a mounted tank is over 70 gal of water, or its gas is not eligible",
            Self::WhenWet => "a division 4.3 package is over 30 ml, or of packing group I",
            Self::Aggregate => "the materials of trade on the vehicle weigh more than 200 kg gross",
            Self::Closed => "a package is open, leaking or not secured against shifting",
            Self::Marked => "a package is not marked with a common name or proper shipping name",
            Self::DriverTold => "the driver was not told what is aboard and what the rules ask",
            Self::ReviewAerosol => {
                "an aerosol can is no cylinder: ask the supplier or a trained person about limited quantities"
            }
            Self::ReviewUnknown => {
                "a figure the rules need is missing, or they give no limit for such a package: ask a trained person"
            }
        }
    }

    const fn is_review(self) -> bool {
        matches!(self, Self::ReviewAerosol | Self::ReviewUnknown)
    }
}

/// One thing to mind: the rule, and the package by its place in the load (none: the whole vehicle).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Finding {
    /// The rule.
    pub rule: LoadRule,
    /// Place of the package in [`Load::packages`].
    pub package: Option<usize>,
}

/// Whether the exception covers the load.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Decision {
    /// No rule is broken by what was stated.
    Allowed,
    /// A trained person must look.
    NeedsReview,
    /// Outside the exception: the full hazardous materials rules apply. Carriage may still be possible.
    NotAllowed,
}

/// What the rules say about a load.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoadReport {
    /// Every finding, in load order, the vehicle's own last.
    pub findings: Vec<Finding>,
    /// Gross mass of the materials of trade that count towards the limit (kg).
    pub aggregate_gross_kg: Decimal,
}

impl LoadReport {
    /// Rules broken, each once, in order.
    #[must_use]
    pub fn broken(&self) -> BTreeSet<LoadRule> {
        self.findings.iter().map(|f| f.rule).filter(|rule| !rule.is_review()).collect()
    }

    /// Reasons for a review, each once, in order.
    #[must_use]
    pub fn review(&self) -> BTreeSet<LoadRule> {
        self.findings.iter().map(|f| f.rule).filter(|rule| rule.is_review()).collect()
    }

    /// The decision that follows.
    #[must_use]
    pub fn decision(&self) -> Decision {
        if self.findings.iter().any(|f| !f.rule.is_review()) {
            Decision::NotAllowed
        } else if self.findings.is_empty() {
            Decision::Allowed
        } else {
            Decision::NeedsReview
        }
    }
}

/// Holds a van's load against the materials-of-trade limits.
///
/// # Formula
/// ```text
/// aggregate = Σ n g     n packages, g gross mass of one (kg); over regulated packages, diluted class 9 tanks apart
/// ```
/// Limits: see [`LoadRule`]. All are "at most": exactly 30 l or 200 kg is allowed.
///
/// # Source
/// 49 CFR 173.6, 171.8 ("material of trade") and 392.51. Paragraphs (a)(1)-(a)(4) and (d) seen in public
/// copies; (a)(5), (b), (c), (e) from memory. Kilograms and litres are what is computed with.
///
/// # Caution
/// A planning aid. Class and packing group come from the supplier (section 14 of the sheet, or the
/// label); the exception covers what is carried in direct support of the carrier's own trade and never
/// goods on their way to a buyer. State, tunnel, bridge and ferry rules may be stricter. The carrier's
/// trained person decides. What is not stated is never taken as allowed: it asks for a review.
///
/// # Errors
/// [`CoreError::Invalid`] when a mass, capacity or concentration is negative or a concentration above
/// 100 %; [`CoreError::OutOfRange`] when the aggregate does not fit.
///
/// # Example
/// ```
/// use dropwise_core::safety::van_load::*;
/// use rust_decimal::dec;
///
/// // Two gallon jugs of isopropyl alcohol, 3.4 kg each.
/// let jugs = Package {
///     class: TransportClass::FlammableLiquid, packing_group: Some(PackingGroup::II), state: State::Liquid,
///     container: Container::Receptacle, count: 2, capacity_l: Some(dec!(3.785)), gross_kg_each: dec!(3.4),
///     concentration_pct: None, exclusions: [].into(), marked: true, closed_and_secured: true,
/// };
/// let report = check_load(&Load { packages: vec![jugs], driver_informed: true })?;
/// assert_eq!((report.decision(), report.aggregate_gross_kg), (Decision::Allowed, dec!(6.8)));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn check_load(load: &Load) -> Result<LoadReport, CoreError> {
    let mut findings = Vec::new();
    let mut aggregate_gross_kg = Decimal::ZERO;
    let mut regulated_aboard = false;
    for (place, package) in load.packages.iter().enumerate() {
        checked(package)?;
        if package.count == 0 {
            continue;
        }
        findings.extend(broken_by(package).map(|rule| Finding { rule, package: Some(place) }));
        if package.class == TransportClass::NotRegulated {
            continue;
        }
        regulated_aboard = true;
        if !is_dilute_tank(package) {
            let gross = package.gross_kg_each.checked_mul(Decimal::from(package.count));
            aggregate_gross_kg = gross
                .and_then(|kg| kg.checked_add(aggregate_gross_kg))
                .ok_or(CoreError::OutOfRange { what: "aggregate gross mass" })?;
        }
    }
    let of_vehicle = |rule| Finding { rule, package: None };
    if aggregate_gross_kg > dec!(200) {
        findings.push(of_vehicle(LoadRule::Aggregate));
    }
    if regulated_aboard && !load.driver_informed {
        findings.push(of_vehicle(LoadRule::DriverTold));
    }
    Ok(LoadReport { findings, aggregate_gross_kg })
}

fn checked(package: &Package) -> Result<(), CoreError> {
    let negative = |quantity: Option<Decimal>| quantity.is_some_and(|q| q < Decimal::ZERO);
    let refuse = |what| Err(CoreError::Invalid { what, rule: "must not be negative" });
    if negative(Some(package.gross_kg_each)) {
        refuse("gross mass of a package")
    } else if negative(package.capacity_l) {
        refuse("capacity of a package")
    } else if negative(package.concentration_pct) {
        refuse("concentration")
    } else if package.concentration_pct.is_some_and(|pct| pct > Decimal::ONE_HUNDRED) {
        Err(CoreError::Invalid { what: "concentration", rule: "must be at most 100 %" })
    } else {
        Ok(())
    }
}

/// Only class 9 has a limit of its own for tanks; another class in a tank is a package like any other.
fn is_dilute_tank(package: &Package) -> bool {
    package.class == TransportClass::Miscellaneous && package.container == Container::DiluteTank
}

fn broken_by(package: &Package) -> impl Iterator<Item = LoadRule> {
    let regulated = package.class != TransportClass::NotRegulated;
    let excluded = (!package.exclusions.is_empty()).then_some(LoadRule::Excluded);
    let limit = regulated.then(|| over_limit(package)).flatten();
    let open = (regulated && !package.closed_and_secured).then_some(LoadRule::Closed);
    let unmarked = (regulated && !package.marked).then_some(LoadRule::Marked);
    [excluded, limit, open, unmarked].into_iter().flatten()
}

/// The limit of the package's class that it exceeds, or the reason why none can be applied.
fn over_limit(package: &Package) -> Option<LoadRule> {
    use LoadRule::{Eligible, ReviewUnknown};
    use TransportClass as T;
    match package.class {
        T::NotRegulated => None,
        T::NeverEligible => Some(Eligible),
        T::FlammableGas | T::NonFlammableGas => over_gas_limit(package),
        T::DangerousWhenWet => over_when_wet_limit(package),
        // Its limits ask for a kind of packaging that a load does not state.
        T::Infectious => Some(ReviewUnknown),
        T::Miscellaneous if package.container == Container::DiluteTank => over_dilution_limit(package),
        T::FlammableLiquid
        | T::FlammableSolid
        | T::Oxidiser
        | T::OrganicPeroxide
        | T::Poison
        | T::Corrosive
        | T::Miscellaneous => match package.packing_group {
            None => Some(Eligible),
            Some(PackingGroup::I) => over_size(package, dec!(0.5), LoadRule::PackingGroupI),
            Some(PackingGroup::II | PackingGroup::III) => {
                over_size(package, dec!(30), LoadRule::PackingGroupIIAndIII)
            }
        },
    }
}

/// One figure serves both: kilograms gross of a solid, litres of capacity of anything else.
fn over_size(package: &Package, limit: Decimal, rule: LoadRule) -> Option<LoadRule> {
    let size = if package.state == State::Solid { Some(package.gross_kg_each) } else { package.capacity_l };
    over(size, limit, rule)
}

fn over_gas_limit(package: &Package) -> Option<LoadRule> {
    match package.container {
        Container::Cylinder => over(Some(package.gross_kg_each), dec!(100), LoadRule::Cylinder),
        Container::MountedTank if package.class == TransportClass::NonFlammableGas => {
            over(package.capacity_l, seventy_gallons_l(), LoadRule::MountedTank)
        }
        Container::MountedTank => Some(LoadRule::MountedTank),
        Container::AerosolCan => Some(LoadRule::ReviewAerosol),
        Container::Receptacle | Container::DiluteTank => Some(LoadRule::ReviewUnknown),
    }
}

fn over_when_wet_limit(package: &Package) -> Option<LoadRule> {
    match package.packing_group {
        None => Some(LoadRule::Eligible),
        Some(PackingGroup::I) => Some(LoadRule::WhenWet),
        Some(PackingGroup::II | PackingGroup::III) => {
            over(package.capacity_l, dec!(0.030), LoadRule::WhenWet)
        }
    }
}

fn over_dilution_limit(package: &Package) -> Option<LoadRule> {
    let strong = over(package.concentration_pct, dec!(2), LoadRule::Diluted);
    let large = over(package.capacity_l, dec!(1500), LoadRule::Diluted);
    // A limit that is broken outweighs a figure that is missing.
    strong.into_iter().chain(large).min()
}

fn over(size: Option<Decimal>, limit: Decimal, rule: LoadRule) -> Option<LoadRule> {
    match size {
        Some(size) => (size > limit).then_some(rule),
        None => Some(LoadRule::ReviewUnknown),
    }
}

/// 70 US gallons of 3.785411784 l.
fn seventy_gallons_l() -> Decimal {
    dec!(264.97882488)
}

#[cfg(test)]
mod tests {
    //! The check values cover what a van usually carries; these cover the rest of the rules.

    use super::*;

    fn package(class: TransportClass, container: Container) -> Package {
        Package {
            class,
            packing_group: Some(PackingGroup::II),
            state: State::Liquid,
            container,
            count: 1,
            capacity_l: Some(dec!(0.02)),
            gross_kg_each: dec!(1),
            concentration_pct: None,
            exclusions: BTreeSet::new(),
            marked: true,
            closed_and_secured: true,
        }
    }

    fn rules(package: Package) -> Vec<LoadRule> {
        let report = check_load(&Load { packages: vec![package], driver_informed: true }).expect("a report");
        report.findings.into_iter().map(|finding| finding.rule).collect()
    }

    #[test]
    fn a_mounted_tank_holds_at_most_seventy_gallons_of_a_gas_that_does_not_burn() {
        let tank = |class, capacity| Package {
            capacity_l: Some(capacity),
            ..package(class, Container::MountedTank)
        };
        let air = TransportClass::NonFlammableGas;
        assert_eq!(rules(tank(air, dec!(264.97882488))), []);
        assert_eq!(rules(tank(air, dec!(264.98))), [LoadRule::MountedTank]);
        assert_eq!(rules(tank(TransportClass::FlammableGas, dec!(1))), [LoadRule::MountedTank]);
    }

    #[test]
    fn what_is_dangerous_when_wet_comes_in_thirty_millilitres_at_most() {
        let wet = |packing_group, capacity| Package {
            packing_group,
            state: State::Solid,
            capacity_l: Some(capacity),
            ..package(TransportClass::DangerousWhenWet, Container::Receptacle)
        };
        assert_eq!(rules(wet(Some(PackingGroup::III), dec!(0.030))), []);
        assert_eq!(rules(wet(Some(PackingGroup::II), dec!(0.03001))), [LoadRule::WhenWet]);
        assert_eq!(rules(wet(Some(PackingGroup::I), dec!(0.001))), [LoadRule::WhenWet]);
        assert_eq!(rules(wet(None, dec!(0.001))), [LoadRule::Eligible]);
    }

    #[test]
    fn of_a_solid_the_weight_counts_and_of_a_liquid_the_capacity() {
        let heavy = |state| Package {
            state,
            gross_kg_each: dec!(30.1),
            capacity_l: Some(dec!(30)),
            ..package(TransportClass::Corrosive, Container::Receptacle)
        };
        assert_eq!(rules(heavy(State::Solid)), [LoadRule::PackingGroupIIAndIII]);
        assert_eq!(rules(heavy(State::Liquid)), []);
    }

    #[test]
    fn what_is_not_stated_is_looked_at_and_never_allowed() {
        let unknown_size =
            Package { capacity_l: None, ..package(TransportClass::FlammableLiquid, Container::Receptacle) };
        assert_eq!(rules(unknown_size), [LoadRule::ReviewUnknown]);
        let unknown_strength = package(TransportClass::Miscellaneous, Container::DiluteTank);
        assert_eq!(rules(unknown_strength.clone()), [LoadRule::ReviewUnknown]);
        // A limit that is broken anyway outweighs the figure that is missing.
        let too_large = Package { capacity_l: Some(dec!(1501)), ..unknown_strength };
        assert_eq!(rules(too_large), [LoadRule::Diluted]);
        assert_eq!(
            rules(package(TransportClass::Infectious, Container::Receptacle)),
            [LoadRule::ReviewUnknown]
        );
        assert_eq!(
            rules(package(TransportClass::FlammableGas, Container::Receptacle)),
            [LoadRule::ReviewUnknown]
        );
        let no_group =
            Package { packing_group: None, ..package(TransportClass::Oxidiser, Container::Receptacle) };
        assert_eq!(rules(no_group), [LoadRule::Eligible]);
    }

    #[test]
    fn only_class_nine_has_a_tank_limit_of_its_own() {
        let tank = Package {
            capacity_l: Some(dec!(1000)),
            concentration_pct: Some(dec!(1)),
            gross_kg_each: dec!(150),
            ..package(TransportClass::Corrosive, Container::DiluteTank)
        };
        let report = check_load(&Load { packages: vec![tank], driver_informed: true }).expect("a report");
        assert_eq!(report.broken(), [LoadRule::PackingGroupIIAndIII].into());
        assert_eq!(report.aggregate_gross_kg, dec!(150), "and it counts towards the total");
    }

    #[test]
    fn the_driver_of_an_empty_or_harmless_van_need_not_be_told() {
        let water = package(TransportClass::NotRegulated, Container::Receptacle);
        let absent = Package { count: 0, ..package(TransportClass::NeverEligible, Container::Receptacle) };
        let report =
            check_load(&Load { packages: vec![water, absent], driver_informed: false }).expect("a report");
        assert_eq!((report.decision(), report.aggregate_gross_kg), (Decision::Allowed, Decimal::ZERO));
    }

    #[test]
    fn a_quantity_below_zero_is_refused() {
        for wrong in [
            Package { gross_kg_each: dec!(-1), ..package(TransportClass::Corrosive, Container::Receptacle) },
            Package {
                capacity_l: Some(dec!(-1)),
                ..package(TransportClass::Corrosive, Container::Receptacle)
            },
            Package {
                concentration_pct: Some(dec!(101)),
                ..package(TransportClass::Miscellaneous, Container::DiluteTank)
            },
        ] {
            assert!(check_load(&Load { packages: vec![wrong], driver_informed: true }).is_err());
        }
    }
}
