//! The facts that come from the field, kind by kind, as they are written down at the kerb.

use crate::flows::cards::kinds::{JobState, StageKind};
use crate::flows::files::FileDigest;
use crate::ids::MemberId;
use crate::sync::rules::job_state::Command;
use crate::values::{Amount, Quantity};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use utoipa::ToSchema;
use uuid::Uuid;

/// What happened. Each kind has one file beside this one that says what it does to the books.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", content = "body", rename_all = "snake_case")]
pub enum Fact {
    /// One section worked in one stage.
    SectionWork(SectionWork),
    /// A container put in service.
    ContainerOpen(ContainerOpen),
    /// A container put on the scale.
    WeighIn(WeighIn),
    /// A pad washed.
    PadWash(PadWash),
    /// A pad taken out of service.
    PadRetire(PadRetire),
    /// Goods that came in.
    Receipt(Receipt),
    /// Stock taken from one place to another.
    StockMove(StockMove),
    /// Stock counted.
    StockCount(StockCount),
    /// Time worked.
    WorkTime(WorkTime),
    /// A drive.
    Trip(Trip),
    /// A photo of a job.
    Photo(Photo),
    /// An entry that was a mistake.
    Reversal(Reversal),
    /// Fields of a card written from a phone.
    CardEdit(CardEdit),
    /// A job moved on.
    JobCommand(JobCommand),
}

/// Product put down in one section: counted doses, or measured millilitres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DoseGiven {
    /// From which container.
    pub container_id: Uuid,
    /// How many drops, shots or centimetres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 10_000)]
    pub count: Option<u32>,
    /// How many millilitres, where they were measured instead.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured_ml: Option<Quantity>,
}

/// Supplies used up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SupplyUsed {
    /// Which.
    pub item_id: Uuid,
    /// How many.
    pub quantity: Quantity,
}

/// One section worked in one stage, with one pad at most.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SectionWork {
    /// For which job.
    pub job_id: Uuid,
    /// Which section of the vehicle, by its name in the vehicle's class.
    #[schema(max_length = 60)]
    pub section: String,
    /// Which stage.
    pub stage: StageKind,
    /// With which pad.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pad_id: Option<Uuid>,
    /// On which machine.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_id: Option<Uuid>,
    /// How long the machine ran (min).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_min: Option<Quantity>,
    /// Product put down.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub doses: Vec<DoseGiven>,
    /// Supplies used up.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub supplies: Vec<SupplyUsed>,
}

/// A container put in service; from now on its level is estimated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ContainerOpen {
    /// Which.
    pub container_id: Uuid,
    /// What is in it (ml); its nominal volume when not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remaining_ml: Option<Quantity>,
}

/// A container put on the scale, with everything that belongs to its tare.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WeighIn {
    /// Which.
    pub container_id: Uuid,
    /// What the scale shows (g).
    pub gross_g: Quantity,
}

/// A pad washed: its load is gone, its wear is not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PadWash {
    /// Which.
    pub pad_id: Uuid,
}

/// Why a pad left service.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PadEnd {
    /// Worn out in use: counts as the end of its life.
    Failed,
    /// Swapped before it failed.
    Swapped,
    /// Gone.
    Lost,
}

/// A pad taken out of service.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PadRetire {
    /// Which.
    pub pad_id: Uuid,
    /// Why.
    pub why: PadEnd,
}

/// Goods that came in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Receipt {
    /// What.
    pub item_id: Uuid,
    /// Where to.
    pub place_id: Uuid,
    /// How much: millilitres of a product, pieces of anything else.
    pub quantity: Quantity,
    /// What all of it cost, without recoverable tax; the last known cost when not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub total_amount: Option<Amount>,
}

/// Stock taken from one place to another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StockMove {
    /// What.
    pub item_id: Uuid,
    /// Where from.
    pub from_place_id: Uuid,
    /// Where to.
    pub to_place_id: Uuid,
    /// How much.
    pub quantity: Quantity,
}

/// Stock counted: what was found, not the difference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StockCount {
    /// What.
    pub item_id: Uuid,
    /// Where.
    pub place_id: Uuid,
    /// How much was there.
    pub counted: Quantity,
}

/// What time was spent on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TimeKind {
    /// On a job.
    Job,
    /// On the road.
    Travel,
    /// Washing pads, loading, waiting.
    Shop,
}

/// Time worked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WorkTime {
    /// Whose; the author's own when not said. Only the office writes down another's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub member_id: Option<MemberId>,
    /// For which job, if any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job_id: Option<Uuid>,
    /// On what.
    pub what: TimeKind,
    /// From.
    pub starts_at: DateTime<Utc>,
    /// To; may lie on the next day.
    pub ends_at: DateTime<Utc>,
}

/// A drive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Trip {
    /// With which van.
    pub place_id: Uuid,
    /// For which job, if any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job_id: Option<Uuid>,
    /// How far (km).
    pub distance_km: Quantity,
}

/// A photo of a job. Its file is sent on its own, before or after.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Photo {
    /// Of which job.
    pub job_id: Uuid,
    /// SHA-256 of the file as it is sent.
    #[schema(inline)]
    pub sha256: FileDigest,
    /// Of which section of the vehicle, by its name in the vehicle's class.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 60)]
    pub section: Option<String>,
    /// What it shows, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 500)]
    pub caption: Option<String>,
}

/// An entry that was a mistake: what it did to the books is undone by lines of its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Reversal {
    /// Which entry.
    pub entry_id: Uuid,
    /// Why.
    #[schema(max_length = 500)]
    pub why: String,
}

/// Fields of a card, each written on its own: of two phones that write one field, the later stamp wins.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CardEdit {
    /// Which card.
    pub card_id: Uuid,
    /// Its fields and what they are to hold; null empties one. A technician writes a job's `note` and
    /// `sections/<section>/<stage>`, and a container's or a pad's `label`; the office also a client's
    /// `contact` and `address`, a vehicle's `description` and `plate`, and a machine's `label`.
    #[schema(value_type = Object, example = json!({"sections/hood_left/polishing": "done"}))]
    pub set: BTreeMap<String, Value>,
}

/// A job moved on by its crew, from where they think it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct JobCommand {
    /// Which job.
    pub job_id: Uuid,
    /// What is said of it.
    pub command: Command,
    /// Where its sender sees it. Anywhere else, the command comes too late and is refused.
    pub expects: JobState,
}

impl Fact {
    /// The kinds this server books, as they are written.
    pub const KINDS: [&'static str; 14] = [
        "section_work",
        "container_open",
        "weigh_in",
        "pad_wash",
        "pad_retire",
        "receipt",
        "stock_move",
        "stock_count",
        "work_time",
        "trip",
        "photo",
        "reversal",
        "card_edit",
        "job_command",
    ];
}
