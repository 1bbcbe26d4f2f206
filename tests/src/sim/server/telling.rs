//! What the trail says of a record: who sees it, and how it reads.

use super::judge::Changed;
use super::tables::{Card, CardKind, Fleet};
use super::trail::News;
use crate::phone::json::Json;
use std::fmt::Write as _;
use uuid::Uuid;

impl Fleet {
    /// The rows of one transaction: each record once, entries last.
    #[must_use]
    pub fn news(&self, mut changed: Vec<Changed>) -> Vec<News> {
        changed.sort();
        changed.dedup();
        changed.into_iter().flat_map(|one| self.of(one)).collect()
    }

    fn of(&self, changed: Changed) -> Vec<News> {
        match changed {
            Changed::Card(id) => {
                let Some(card) = self.cards.get(&id) else { return vec![] };
                let kind = match card.kind {
                    CardKind::Job => "job",
                    CardKind::Notice => "notice",
                };
                let now = (!card.deleted).then(|| (card.place, self.card(card)));
                vec![((kind, id), now)]
            }
            Changed::Bottle(tag) => {
                let Some(bottle) = self.bottles.get(&tag) else { return vec![] };
                let (first, place) = (bottle.canonical(), bottle.place());
                let body = |id: Uuid| {
                    let mut text = format!("{{\"fleet\":\"{}\",\"place\":\"{place}\",", self.id);
                    let _ = if id == first {
                        write!(text, "\"ml\":{},\"facts\":{}}}", bottle.level.value(), bottle.level.facts())
                    } else {
                        write!(text, "\"alias_of\":\"{first}\"}}")
                    };
                    Json::new(&text)
                };
                let told = |id: &Uuid| (("container", *id), Some((place, body(*id))));
                bottle.records.keys().map(|(_, id)| told(id)).collect()
            }
            Changed::Stock(item, place) => {
                let Some(level) = self.stock.get(&(item, place)) else { return vec![] };
                let text = format!(
                    "{{\"fleet\":\"{}\",\"place\":\"{place}\",\"item\":\"{item}\",\"quantity\":{},\"facts\":{}}}",
                    self.id,
                    level.value(),
                    level.facts()
                );
                // A level has no id of its own: item and place make one.
                let id = Uuid::from_u128(item.as_u128().rotate_left(64) ^ place.as_u128());
                vec![(("stock", id), Some((place, Json::new(&text))))]
            }
            Changed::Entry(id) => {
                let Some(stored) = self.entries.get(&id) else { return vec![] };
                let text = format!(
                    "{{\"fleet\":\"{}\",\"verdict\":{},\"reversed\":{}}}",
                    self.id,
                    word(stored.word),
                    stored.reversed_by.is_some()
                );
                vec![(("entry", id), Some((stored.author, Json::new(&text))))]
            }
            Changed::Verdict(id) => {
                let Some(stored) = self.entries.get(&id) else { return vec![] };
                let text = format!("{{\"fleet\":\"{}\",\"verdict\":{}}}", self.id, word(stored.word));
                vec![(("verdict", id), Some((stored.author, Json::new(&text))))]
            }
        }
    }

    fn card(&self, card: &Card) -> Json {
        let mut text = format!(
            "{{\"fleet\":\"{}\",\"place\":\"{}\",\"state\":\"{}\"",
            self.id,
            card.place,
            card.state.word()
        );
        for (name, field) in &card.fields {
            let _ = write!(text, ",\"{name}\":\"{}\"", field.value);
        }
        let stamps: Vec<String> = card
            .fields
            .iter()
            .map(|(name, field)| format!("\"{name}\":\"{}\"", field.stamp.text()))
            .collect();
        let _ = write!(text, ",\"work\":{},\"stamps\":{{{}}}}}", card.facts.len(), stamps.join(","));
        Json::new(&text)
    }
}

fn word(word: crate::phone::wire::Word) -> String {
    serde_json::to_string(&word).unwrap_or_default()
}
