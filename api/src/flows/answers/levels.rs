//! How full each container is and how worn each pad is.

use super::as_card;
use crate::error::Error;
use crate::flows::cards::kinds::{Card, Item};
use crate::store::Tx;
use crate::store::books::{self, ContainerLevel, PadState};
use crate::store::cards;
use dropwise_core::stats::Estimate;
use dropwise_core::stats::bottle::{Bottle, BottleState};
use rust_decimal::prelude::ToPrimitive;
use uuid::Uuid;

/// Confidence of every interval that is shown.
pub const CONFIDENCE: f64 = 0.90;

/// One container's level as it is shown.
#[derive(Debug, Clone, PartialEq)]
pub struct ContainerAnswer {
    /// The container.
    pub id: Uuid,
    /// Its tag.
    pub label: String,
    /// The product's name.
    pub item_name: String,
    /// What is kept of it.
    pub level: ContainerLevel,
    /// Within zero and nominal.
    pub remaining_ml: f64,
    /// 90 % interval, within zero and nominal.
    pub interval_ml: [f64; 2],
    /// 90 % interval of one dose.
    pub ml_per_dose_interval: [f64; 2],
    /// Whole doses left; none when the dose size is not known to be above zero.
    pub doses_left: Option<u64>,
}

/// A pad's condition, in the order of how soon something must be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PadCondition {
    /// Out of service.
    Retired,
    /// At or beyond the sections its model is expected to last.
    Worn,
    /// At or beyond the sections after which it should be washed.
    WashNow,
    /// In order.
    Good,
}

impl PadCondition {
    /// The word in replies.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Retired => "retired",
            Self::Worn => "worn",
            Self::WashNow => "wash_now",
            Self::Good => "good",
        }
    }
}

/// One pad as it is shown.
#[derive(Debug, Clone, PartialEq)]
pub struct PadAnswer {
    /// The pad.
    pub id: Uuid,
    /// Its tag.
    pub label: String,
    /// Its model's name.
    pub item_name: String,
    /// What is kept of it.
    pub state: PadState,
    /// What to do with it.
    pub condition: PadCondition,
    /// Product in it per area of its face (ml/cm²), when its diameter is known.
    pub load_ml_per_cm2: Option<f64>,
    /// Sections until its model's expectation; none when the card says nothing.
    pub cycles_left: Option<i64>,
}

/// Open containers in id order, of all places or one; one more than `limit` tells that there are more.
///
/// # Errors
/// Those of the database.
pub async fn containers(
    tx: &mut Tx,
    place: Option<Uuid>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<ContainerAnswer>, Error> {
    let found = books::list_containers(tx, place, after, limit).await?;
    let ids: Vec<Uuid> = found.iter().flat_map(|(id, level)| [*id, level.item_id]).collect();
    let cards = cards::find_many(tx, &ids).await?;
    let mut answers = Vec::with_capacity(found.len());
    for (id, level) in found {
        let Some(record) = cards.get(&id) else { continue };
        let Card::Container(card) = as_card(record)? else { continue };
        let item = cards.get(&level.item_id).map(as_card).transpose()?;
        let (item_name, density) = match item {
            Some(Card::Item(item)) => (item.name, item.density_g_per_ml.and_then(|d| d.get().to_f64())),
            _ => (String::new(), None),
        };
        let bottle = Bottle {
            nominal_ml: card.nominal_ml.get().to_f64().unwrap_or_default(),
            tare_g: card.tare_g.get().to_f64().unwrap_or_default(),
            density_g_per_ml: density.unwrap_or(1.0),
        };
        let [p00, p01, p11] = level.covariance;
        let state = BottleState::from_parts(level.mean, [[p00, p01], [p01, p11]]).map_err(Error::internal)?;
        let dose = Estimate::try_new(level.mean[1], p11.max(0.0).sqrt()).map_err(Error::internal)?;
        answers.push(ContainerAnswer {
            id,
            label: card.label,
            item_name,
            remaining_ml: state.reported_remaining_ml(&bottle),
            interval_ml: state.remaining_interval_ml(CONFIDENCE, &bottle).map_err(Error::internal)?,
            ml_per_dose_interval: dose.interval(CONFIDENCE).map_err(Error::internal)?,
            doses_left: state.reported_drops_left(&bottle),
            level,
        });
    }
    Ok(answers)
}

/// Pads that have been used, in id order, of all places or one.
///
/// # Errors
/// Those of the database.
pub async fn pads(
    tx: &mut Tx,
    place: Option<Uuid>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<PadAnswer>, Error> {
    let found = books::list_pads(tx, place, after, limit).await?;
    let ids: Vec<Uuid> = found.iter().flat_map(|(id, state)| [*id, state.item_id]).collect();
    let cards = cards::find_many(tx, &ids).await?;
    let mut answers = Vec::with_capacity(found.len());
    for (id, state) in found {
        let Some(record) = cards.get(&id) else { continue };
        let Card::Pad(card) = as_card(record)? else { continue };
        let model = match cards.get(&state.item_id).map(as_card).transpose()? {
            Some(Card::Item(item)) => Some(item),
            _ => None,
        };
        answers.push(PadAnswer {
            id,
            label: card.label,
            condition: condition(&state, model.as_ref()),
            load_ml_per_cm2: model.as_ref().and_then(|model| load_per_cm2(&state, model)),
            cycles_left: model
                .as_ref()
                .and_then(|model| model.expected_cycles)
                .map(|expected| i64::from(expected).saturating_sub(i64::from(state.cycles))),
            item_name: model.map(|model| model.name).unwrap_or_default(),
            state,
        });
    }
    Ok(answers)
}

fn condition(state: &PadState, model: Option<&Item>) -> PadCondition {
    let reached = |count: i32, limit: Option<u32>| limit.is_some_and(|l| i64::from(count) >= i64::from(l));
    if state.retired_at.is_some() {
        PadCondition::Retired
    } else if reached(state.cycles, model.and_then(|model| model.expected_cycles)) {
        PadCondition::Worn
    } else if reached(state.cycles_since_wash, model.and_then(|model| model.wash_after_cycles)) {
        PadCondition::WashNow
    } else {
        PadCondition::Good
    }
}

/// Load over the area of a round face: 4 m / (π d²).
fn load_per_cm2(state: &PadState, model: &Item) -> Option<f64> {
    let diameter_cm = model.diameter_cm?.get().to_f64()?;
    let area_cm2 = std::f64::consts::PI * diameter_cm * diameter_cm / 4.0;
    (area_cm2 > 0.0).then_some(state.load_ml.to_f64()? / area_cm2)
}
