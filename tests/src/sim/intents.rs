//! What people write down: drawn from what their phone shows them, with the usual mistakes.

use super::server::judge::NEWEST;
use super::server::tables::Fleet;
use super::watch::Watch;
use crate::phone::json::Json;
use crate::phone::store::Store;
use rand::RngExt;
use rand::rngs::Xoshiro256PlusPlus;
use rand::seq::IndexedRandom;
use uuid::Uuid;

/// An intent before it has an id and a number.
#[derive(Debug)]
pub struct Intent {
    /// What kind.
    pub kind: &'static str,
    /// What it says.
    pub body: Json,
    /// What it builds on.
    pub needs: Vec<Uuid>,
    /// The bottle it registers.
    pub opens: Option<Uuid>,
}

/// Any intent; `None` when the phone shows nothing to write about. `container`: a fresh id.
pub fn any(
    store: &Store,
    fleet: &Fleet,
    watch: &Watch,
    container: Uuid,
    rng: &mut Xoshiro256PlusPlus,
) -> Option<Intent> {
    let shown = |kind: &str| -> Vec<Uuid> {
        store.records.keys().filter(|(_, other, _)| other == kind).map(|(_, _, id)| *id).collect()
    };
    // Three things the fleet buys; their ids are no records here.
    let item = Uuid::from_u128(0x17e0 + rng.random_range(0..3));
    let mut place = || *fleet.places.choose(rng).expect("vans");
    let (here, there) = (place(), place());
    let amount = rng.random_range(1..500);
    let mut needs = vec![];
    if rng.random_bool(0.06) {
        needs.extend(watch.entries_of(fleet.id).choose(rng));
    }
    let mut opens = None;
    let (kind, body) = match rng.random_range(0..100) {
        0..14 => {
            let quantity = if rng.random_bool(0.1) { 0 } else { amount };
            ("receipt", format!(r#"{{"item_id":"{item}","place_id":"{here}","quantity":{quantity}}}"#))
        }
        14..26 => (
            "stock_move",
            format!(
                r#"{{"item_id":"{item}","from_place_id":"{here}","to_place_id":"{there}","quantity":{amount}}}"#
            ),
        ),
        26..34 => {
            ("stock_count", format!(r#"{{"item_id":"{item}","place_id":"{here}","quantity":{amount}}}"#))
        }
        34..42 => {
            // Few tags: the same bottle turns up on two phones.
            let tag = rng.random_range(0..12);
            opens = Some(container);
            (
                "bottle_open",
                format!(
                    r#"{{"container_id":"{container}","tag":"T{tag}","place_id":"{here}","ml":{amount}}}"#
                ),
            )
        }
        42..62 => {
            let bottle = bottle(&shown("container"), fleet, watch, rng)?;
            let job = *shown("job").choose(rng)?;
            let ml = rng.random_range(1..30);
            ("section_work", format!(r#"{{"job_id":"{job}","container_id":"{bottle}","ml":{ml}}}"#))
        }
        62..68 => {
            let bottle = bottle(&shown("container"), fleet, watch, rng)?;
            ("weigh_in", format!(r#"{{"container_id":"{bottle}","ml":{amount}}}"#))
        }
        68..84 => {
            let mut cards = shown("job");
            cards.extend(shown("notice"));
            let card = *cards.choose(rng)?;
            let field = ["note", "label"].choose(rng)?;
            // The value tells who wrote it when.
            (
                "card_edit",
                format!(
                    r#"{{"card_id":"{card}","set":{{"{field}":"{} {}"}}}}"#,
                    store.lane.simple(),
                    store.next_n
                ),
            )
        }
        84..92 => {
            let job = *shown("job").choose(rng)?;
            let state = store.field(job, "state")?;
            let command = ["start", "finish", "hand_back"].choose(rng)?;
            ("job_command", format!(r#"{{"job_id":"{job}","command":"{command}","expects":{state}}}"#))
        }
        92..96 => {
            let own: Vec<Uuid> = store.verdicts.keys().copied().collect();
            let entry = own.choose(rng)?;
            ("reversal", format!(r#"{{"entry_id":"{entry}"}}"#))
        }
        96..98 => (NEWEST, "{}".to_owned()),
        _ => ("receipt", r#"{"quantity":"many"}"#.to_owned()),
    };
    Some(Intent { kind, body: Json::new(&body), needs, opens })
}

/// A bottle that is shown, or one that somebody holds in their hand while only another phone knows it.
fn bottle(shown: &[Uuid], fleet: &Fleet, watch: &Watch, rng: &mut Xoshiro256PlusPlus) -> Option<Uuid> {
    let by_hand = rng.random_bool(0.3);
    let any = watch.containers_of(fleet.id).choose(rng).copied();
    if by_hand { any } else { shown.choose(rng).copied().or(any) }
}
