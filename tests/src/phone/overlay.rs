//! What the person sees: the records as read, and over them everything they wrote themselves that is not
//! among the records yet.

use super::store::{Kept, Store};
use super::wire::Word;
use serde_json::Value;
use uuid::Uuid;

impl Store {
    /// The phone's own entries that are not in what was read, in the order written. A refused one is
    /// taken back at once; a parked one stays visible until it comes back in the trail.
    pub fn pending(&self) -> impl Iterator<Item = &Kept> {
        self.kept.values().filter(|kept| !kept.back && kept.verdict != Some(Word::Refused))
    }

    /// A field of a record as this phone's owner sees it: what they last wrote themselves unless it lost
    /// to somebody's later word, else what was read.
    #[must_use]
    pub fn field(&self, record: Uuid, field: &str) -> Option<Value> {
        let wanted = record.to_string();
        let edits = self
            .pending()
            .filter(|kept| kept.entry.kind == "card_edit" && kept.verdict != Some(Word::Yielded));
        let own = edits.filter_map(|kept| {
            let body = kept.entry.body.value();
            (body["card_id"] == wanted).then(|| body["set"].get(field).cloned())?
        });
        own.last().or_else(|| {
            let (_, record) = self.records.iter().find(|((_, _, id), _)| *id == record)?;
            record.body.value().get(field).cloned()
        })
    }
}
