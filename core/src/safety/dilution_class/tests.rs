//! The check values cover the usual products; these cover how the steps meet.

use super::*;

const NEAT: Dilution = Dilution::Mass { concentrate: Decimal::ONE, water: Decimal::ZERO };

fn ingredient(pct: Decimal, skin: Option<SkinClass>, eye: Option<EyeClass>, additive: bool) -> Ingredient {
    Ingredient { pct_w_w: pct, class: SkinEye { skin, eye }, additive, extreme_ph: false, fluoride: false }
}

fn class(ingredients: &[Ingredient], dilution: Dilution) -> (SkinEye, Path) {
    let answer = diluted_class(ingredients, dilution, KnownOfProduct::default()).expect("an answer");
    (answer.class, answer.path)
}

#[test]
fn the_graver_of_single_ingredients_and_sums_stands() {
    let irritant_by_itself = ingredient(dec!(3), None, Some(EyeClass::Two), false);
    let corrosive_by_sum = ingredient(dec!(5), Some(SkinClass::OneB), Some(EyeClass::One), true);
    let both = class(&[irritant_by_itself, corrosive_by_sum.clone()], NEAT);
    let expected = SkinEye { skin: Some(SkinClass::OneB), eye: Some(EyeClass::One) };
    assert_eq!(both, (expected, Path::NonAdditiveAndAdditive));
    // Beside a corrosive of unknown sub-category the 1B no longer says the worst.
    let corrosive_by_itself = ingredient(dec!(1), Some(SkinClass::OneA), None, false);
    let (class, _) = class(&[corrosive_by_itself, corrosive_by_sum], NEAT);
    assert_eq!(class.skin, Some(SkinClass::One));
}

#[test]
fn a_corrosive_without_an_eye_class_still_damages_eyes() {
    let (class, _) = class(&[ingredient(dec!(5), Some(SkinClass::One), None, true)], NEAT);
    assert_eq!(class, SkinEye { skin: Some(SkinClass::One), eye: Some(EyeClass::One) });
}

#[test]
fn an_irritant_outside_the_sums_keeps_its_skin_class_beside_eye_damage() {
    let both = ingredient(dec!(3), Some(SkinClass::Two), Some(EyeClass::One), false);
    assert_eq!(class(&[both], NEAT).0, SkinEye { skin: Some(SkinClass::Two), eye: Some(EyeClass::One) });
    let less = ingredient(dec!(2.9), Some(SkinClass::Two), Some(EyeClass::One), false);
    assert_eq!(class(&[less], NEAT).0, SkinEye { skin: None, eye: Some(EyeClass::One) });
}

#[test]
fn an_extreme_ingredient_never_hides_in_the_sums() {
    let base = Ingredient { extreme_ph: true, ..ingredient(dec!(1), Some(SkinClass::OneA), None, true) };
    assert_eq!(class(&[base], NEAT), (SkinEye::CORROSIVE, Path::NonAdditive));
}

#[test]
fn a_share_that_does_not_divide_evenly_still_meets_its_bound() {
    // 15 % and 3 % at one to two are 5 % and 1 %, though a third is no decimal.
    let one_to_two = Dilution::Mass { concentrate: dec!(1), water: dec!(2) };
    let at_five = ingredient(dec!(15), Some(SkinClass::OneC), Some(EyeClass::One), true);
    assert_eq!(class(&[at_five], one_to_two).0.skin, Some(SkinClass::OneC));
    let third = ingredient(dec!(5), Some(SkinClass::One), Some(EyeClass::One), true);
    let thirds = [third.clone(), third.clone(), third];
    assert_eq!(class(&thirds, one_to_two).0.skin, Some(SkinClass::One), "three times 5/3 % are 5 %");
}

#[test]
fn what_cannot_be_mixed_is_refused() {
    let soap = [ingredient(dec!(5), None, None, true)];
    let known = KnownOfProduct::default();
    let nothing = Dilution::Mass { concentrate: dec!(0), water: dec!(0) };
    let weightless = Dilution::Volume {
        concentrate: dec!(1),
        water: dec!(1),
        density_concentrate: dec!(0),
        density_water: dec!(1),
    };
    assert!(diluted_class(&soap, nothing, known).is_err());
    assert!(diluted_class(&soap, weightless, known).is_err());
    assert!(diluted_class(&[ingredient(dec!(100.1), None, None, true)], NEAT, known).is_err());
    let sour = KnownOfProduct { ph: Some(dec!(-3)), ..known };
    assert!(diluted_class(&soap, NEAT, sour).is_err());
}
