//! Laws of the safety room: more aboard is never safer, order and repeats do not matter, nothing panics.

use dropwise_core::Decimal;
use dropwise_core::safety::cas_number::CasNumber;
use dropwise_core::safety::dilution_class::{
    Dilution, EyeClass, Flag, Ingredient, KnownOfProduct, Path, SkinClass, SkinEye, diluted_class,
};
use dropwise_core::safety::flash_category::flash_class;
use dropwise_core::safety::hazard_statements::{self, HazardStatement};
use dropwise_core::safety::heat_level::{HeatLimit, heat_warning};
use dropwise_core::safety::pictograms::{Jurisdiction, Pictogram, label_elements};
use dropwise_core::safety::storage_pair::{StorageGroup, storage_pair};
use dropwise_core::safety::van_load::{
    Container, Exclusion, Load, Package, PackingGroup, State, TransportClass, check_load,
};
use proptest::collection::{btree_set, vec};
use proptest::option;
use proptest::prelude::*;
use proptest::sample::{Index, select};

/// A number with a right check digit, as text.
fn cas() -> impl Strategy<Value = String> {
    (10_u32..10_000_000, 0_u32..100).prop_map(|(first, second)| {
        let digits = format!("{first}{second:02}");
        let sum: u32 =
            digits.bytes().rev().zip(1..).map(|(digit, weight)| u32::from(digit - b'0') * weight).sum();
        format!("{first}-{second:02}-{}", sum % 10)
    })
}

/// Any decimal there is, the extremes included.
fn any_decimal() -> impl Strategy<Value = Decimal> + Clone {
    prop_oneof![
        (any::<i64>(), 0_u32..19).prop_map(|(digits, scale)| Decimal::new(digits, scale)),
        select(vec![Decimal::MAX, Decimal::MIN, Decimal::ZERO, Decimal::new(1, 28)]),
    ]
}

fn between(least: i64, most: i64, scale: u32) -> impl Strategy<Value = Decimal> + Clone {
    (least..=most).prop_map(move |digits| Decimal::new(digits, scale))
}

fn package(number: impl Strategy<Value = Decimal> + Clone) -> impl Strategy<Value = Package> {
    use TransportClass as T;
    let classes = [
        T::NotRegulated,
        T::FlammableGas,
        T::NonFlammableGas,
        T::FlammableLiquid,
        T::FlammableSolid,
        T::DangerousWhenWet,
        T::Oxidiser,
        T::OrganicPeroxide,
        T::Poison,
        T::Infectious,
        T::Corrosive,
        T::Miscellaneous,
        T::NeverEligible,
    ];
    let containers = [
        Container::Receptacle,
        Container::Cylinder,
        Container::AerosolCan,
        Container::DiluteTank,
        Container::MountedTank,
    ];
    let what = (
        select(classes.to_vec()),
        option::of(select(vec![PackingGroup::I, PackingGroup::II, PackingGroup::III])),
        select(vec![State::Liquid, State::Solid, State::Gas]),
        select(containers.to_vec()),
        btree_set(
            select(vec![Exclusion::SelfReactive, Exclusion::PoisonByInhalation, Exclusion::HazardousWaste]),
            0..2,
        ),
    );
    let figures = (0_u32..20, option::of(number.clone()), number.clone(), option::of(number));
    (what, figures, any::<bool>(), any::<bool>()).prop_map(|(what, figures, marked, closed_and_secured)| {
        Package {
            class: what.0,
            packing_group: what.1,
            state: what.2,
            container: what.3,
            exclusions: what.4,
            count: figures.0,
            capacity_l: figures.1,
            gross_kg_each: figures.2,
            concentration_pct: figures.3,
            marked,
            closed_and_secured,
        }
    })
}

fn hazards() -> impl Strategy<Value = Vec<&'static HazardStatement>> {
    vec(any::<Index>().prop_map(|index| index.get(hazard_statements::all())), 0..8)
}

fn jurisdiction() -> impl Strategy<Value = Jurisdiction> {
    select(vec![Jurisdiction::Osha, Jurisdiction::UnClp])
}

fn ingredient(pct: impl Strategy<Value = Decimal>) -> impl Strategy<Value = Ingredient> {
    let skin = [SkinClass::Two, SkinClass::OneC, SkinClass::OneB, SkinClass::One, SkinClass::OneA];
    let class = (option::of(select(skin.to_vec())), option::of(select(vec![EyeClass::Two, EyeClass::One])));
    (pct, class, any::<bool>(), any::<bool>(), any::<bool>()).prop_map(
        |(pct_w_w, (skin, eye), additive, extreme_ph, fluoride)| Ingredient {
            pct_w_w,
            class: SkinEye { skin, eye },
            additive,
            extreme_ph,
            fluoride,
        },
    )
}

proptest! {
    #[test]
    fn a_right_cas_number_reads_and_prints_back(text in cas()) {
        prop_assert_eq!(text.parse::<CasNumber>().unwrap().to_string(), text);
    }

    /// A digit of weight w moved by d goes unseen only when 10 divides w d; w runs to 9, so a move by one is always seen.
    #[test]
    fn one_digit_moved_by_one_is_always_seen(text in cas(), at in any::<Index>(), up in any::<bool>()) {
        let places: Vec<usize> = text.char_indices().filter(|(_, c)| c.is_ascii_digit()).map(|(i, _)| i).collect();
        let mut bytes = text.into_bytes();
        let digit = &mut bytes[*at.get(&places)];
        *digit = match (*digit, up) {
            (b'9', true) => b'8',
            (b'0', false) => b'1',
            (digit, true) => digit + 1,
            (digit, false) => digit - 1,
        };
        let slipped = String::from_utf8(bytes).unwrap();
        prop_assert!(slipped.parse::<CasNumber>().is_err(), "{}", slipped);
    }

    /// Every digit of an odd weight but five, and the check digit itself, betrays any other digit put in its place.
    #[test]
    fn a_changed_digit_passes_only_when_ten_divides_weight_times_change(
        text in cas(), at in any::<Index>(), put in 0_u8..10,
    ) {
        let places: Vec<usize> = text.char_indices().filter(|(_, c)| c.is_ascii_digit()).map(|(i, _)| i).collect();
        let nth = at.index(places.len());
        let mut bytes = text.clone().into_bytes();
        let was = bytes[places[nth]] - b'0';
        bytes[places[nth]] = b'0' + put;
        let changed = String::from_utf8(bytes).unwrap();
        let from_right = places.len() - 1 - nth;
        let weight = if from_right == 0 { 1 } else { from_right };
        let unseen = weight * usize::from(was.abs_diff(put)) % 10 == 0 && !changed.starts_with('0');
        prop_assert_eq!(changed.parse::<CasNumber>().is_ok(), unseen, "{} from {}", changed, text);
    }

    #[test]
    fn any_text_is_read_without_panic(text in ".*") {
        let _ = text.parse::<CasNumber>();
        let _ = hazard_statements::find(&text);
        let _ = text.parse::<StorageGroup>();
        let _ = text.parse::<TransportClass>();
    }

    #[test]
    fn one_more_package_never_lowers_the_total_nor_lifts_a_refusal(
        packages in vec(package(between(0, 100_000, 3)), 0..6),
        more in package(between(0, 100_000, 3)),
        driver_informed in any::<bool>(),
        at in any::<Index>(),
    ) {
        let before = check_load(&Load { packages: packages.clone(), driver_informed }).unwrap();
        let mut packages = packages;
        packages.insert(at.index(packages.len() + 1), more);
        let after = check_load(&Load { packages, driver_informed }).unwrap();
        prop_assert!(after.aggregate_gross_kg >= before.aggregate_gross_kg);
        prop_assert!(after.broken().is_superset(&before.broken()));
        prop_assert!(after.review().is_superset(&before.review()));
        prop_assert!(after.decision() >= before.decision());
    }

    #[test]
    fn the_order_of_a_load_does_not_matter(packages in vec(package(between(0, 100_000, 3)), 0..6)) {
        let forth = check_load(&Load { packages: packages.clone(), driver_informed: true }).unwrap();
        let back = check_load(&Load { packages: packages.into_iter().rev().collect(), driver_informed: true }).unwrap();
        prop_assert_eq!(forth.aggregate_gross_kg, back.aggregate_gross_kg);
        prop_assert_eq!((forth.broken(), forth.review()), (back.broken(), back.review()));
    }

    #[test]
    fn any_load_has_an_answer_or_a_refusal(packages in vec(package(any_decimal()), 0..6)) {
        let _ = check_load(&Load { packages, driver_informed: false });
    }

    #[test]
    fn a_pair_is_the_same_both_ways(a in select(StorageGroup::ALL.to_vec()), b in select(StorageGroup::ALL.to_vec())) {
        prop_assert_eq!(storage_pair(a, b).unwrap(), storage_pair(b, a).unwrap());
    }

    #[test]
    fn a_label_knows_neither_order_nor_repeats(hazards in hazards(), jurisdiction in jurisdiction()) {
        let once = label_elements(&hazards, jurisdiction);
        let twice: Vec<_> = hazards.iter().rev().chain(&hazards).copied().collect();
        let again = label_elements(&twice, jurisdiction);
        prop_assert_eq!((&once.pictograms, once.signal_word), (&again.pictograms, again.signal_word));
    }

    /// Only the exclamation mark ever gives way: any other pictogram, and the signal word, survive company.
    #[test]
    fn one_more_hazard_takes_away_at_most_the_exclamation_mark(
        hazards in hazards(), more in hazards(), jurisdiction in jurisdiction(),
    ) {
        let alone = label_elements(&hazards, jurisdiction);
        let all: Vec<_> = hazards.into_iter().chain(more).collect();
        let together = label_elements(&all, jurisdiction);
        let lost: Vec<_> = alone.pictograms.difference(&together.pictograms).collect();
        prop_assert!(lost.is_empty() || lost == [&Pictogram::Ghs07], "{:?}", lost);
        prop_assert!(together.signal_word >= alone.signal_word);
    }

    #[test]
    fn any_temperature_has_a_category(flash in any_decimal(), boiling in option::of(any_decimal())) {
        let colder = flash_class(flash.saturating_sub(Decimal::ONE), boiling);
        prop_assert!(colder.category <= flash_class(flash, boiling).category, "colder is never milder");
    }

    #[test]
    fn longer_in_the_sun_never_cools(
        flash in option::of(between(-500, 2000, 1)),
        ambient in between(-600, 600, 1),
        minutes in between(0, 3000, 1),
        longer in between(0, 3000, 1),
    ) {
        let limit = flash.map_or(HeatLimit::Aerosol, HeatLimit::FlashPoint);
        let soon = heat_warning(limit, ambient, minutes).unwrap();
        let late = heat_warning(limit, ambient, minutes + longer).unwrap();
        prop_assert!(late.estimate_c >= soon.estimate_c && late.level >= soon.level);
    }

    #[test]
    fn any_heat_has_an_answer_or_a_refusal(
        flash in any_decimal(), ambient in any_decimal(), minutes in any_decimal(),
    ) {
        let _ = heat_warning(HeatLimit::FlashPoint(flash), ambient, minutes);
        let _ = heat_warning(HeatLimit::Aerosol, ambient, minutes);
    }

    #[test]
    fn more_water_never_makes_a_class_graver(
        ingredients in vec(ingredient(between(0, 10_000, 2)), 0..5),
        water in 0_u32..200,
        more in 0_u32..200,
    ) {
        let mix = |water: u32| {
            let ratio = Dilution::Mass { concentrate: Decimal::ONE, water: water.into() };
            diluted_class(&ingredients, ratio, KnownOfProduct::default()).unwrap()
        };
        let (strong, weak) = (mix(water), mix(water + more));
        prop_assert!(weak.class.eye <= strong.class.eye);
        // A sub-category may give way to another; corrosive, irritant, nothing is what counts.
        let rank = |class: SkinEye| class.skin.map(|skin| skin != SkinClass::Two);
        prop_assert!(rank(weak.class) <= rank(strong.class));
    }

    #[test]
    fn a_fluoride_acid_is_always_flagged_and_the_supplier_always_governs(
        ingredients in vec(ingredient(between(1, 10_000, 2)), 1..5),
        water in 0_u32..1000,
        ph in option::of(between(-20, 160, 1)),
        reserve_evidence_noncorrosive in any::<bool>(),
        supplied in any::<bool>(),
    ) {
        let supplier_class = supplied.then_some(SkinEye { skin: Some(SkinClass::Two), eye: None });
        let known = KnownOfProduct { ph, reserve_evidence_noncorrosive, supplier_class };
        let ratio = Dilution::Mass { concentrate: Decimal::ONE, water: water.into() };
        let answer = diluted_class(&ingredients, ratio, known).unwrap();
        let fluoride = ingredients.iter().any(|ingredient| ingredient.fluoride);
        prop_assert_eq!(answer.flags.contains(&Flag::FluorideAcid), fluoride);
        prop_assert_eq!(answer.path == Path::Supplier, supplied);
        prop_assert!(supplier_class.is_none_or(|class| class == answer.class));
    }

    #[test]
    fn any_mixture_has_an_answer_or_a_refusal(
        ingredients in vec(ingredient(any_decimal()), 0..4),
        parts in [any_decimal(), any_decimal(), any_decimal(), any_decimal()],
        ph in option::of(any_decimal()),
    ) {
        let known = KnownOfProduct { ph, ..KnownOfProduct::default() };
        let [concentrate, water, density_concentrate, density_water] = parts;
        let _ = diluted_class(&ingredients, Dilution::Mass { concentrate, water }, known);
        let by_volume = Dilution::Volume { concentrate, water, density_concentrate, density_water };
        let _ = diluted_class(&ingredients, by_volume, known);
    }
}
