//! Whether the books hold: kept figures equal their lines (I2, I3), and books rebuilt from the entries
//! equal the books (I7). Reads the whole history, line by line.

use super::settings;
use crate::error::Error;
use crate::flows::entries::rebuild::Rebuild;
use crate::store::audit::{self as questions, Compared};
use crate::store::{Tx, books, entries};
use uuid::Uuid;

/// Entries replayed at a time.
const CHUNK: i64 = 1_000;

/// One line of the report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// What was looked at, in a sentence.
    pub what: &'static str,
    /// How many were compared, and how many differed.
    pub compared: Compared,
    /// The first that differed, when there was one.
    pub first: Option<String>,
}

/// Looks at everything.
///
/// # Errors
/// Those of the database; [`Error::Internal`] when a stored entry cannot be booked again.
pub async fn whole(tx: &mut Tx) -> Result<Vec<Finding>, Error> {
    let plain = |what, compared| Finding { what, compared, first: None };
    let mut findings = vec![
        plain("I2 stock per item and place equals its lines", questions::levels(tx).await?),
        plain(
            "I2 stock value per item equals its lines, and its places add up",
            questions::values(tx).await?,
        ),
        plain("I3 month figures per job and kind equal their lines", questions::figures(tx).await?),
    ];
    findings.extend(rebuilt(tx).await?);
    Ok(findings)
}

#[derive(Default)]
struct Tally {
    checked: i64,
    wrong: i64,
    first: Option<String>,
}

impl Tally {
    fn add(&mut self, equal: bool, about: impl FnOnce() -> String) {
        self.checked += 1;
        if !equal {
            self.wrong += 1;
            self.first.get_or_insert_with(about);
        }
    }

    fn finding(self, what: &'static str) -> Finding {
        Finding { what, compared: Compared { checked: self.checked, wrong: self.wrong }, first: self.first }
    }
}

async fn rebuilt(tx: &mut Tx) -> Result<Vec<Finding>, Error> {
    let zone = settings(tx).await?.zone.parse().map_err(Error::internal)?;
    let mut rebuild = Rebuild::new(zone);
    let (mut lines, mut after) = (Tally::default(), (0, 0));
    loop {
        let chunk = entries::list_in_order(tx, after, CHUNK).await?;
        let Some((last, _)) = chunk.last() else { break };
        after = *last;
        let ids: Vec<Uuid> = chunk.iter().map(|(_, entry)| entry.entry_id).collect();
        let mut kept = books::lines_of(tx, &ids).await?.by_entry();
        for (_, entry) in &chunk {
            let made = rebuild.replay(entry)?;
            let kept = kept.remove(&entry.entry_id).unwrap_or_default();
            lines.add(made == kept, || format!("entry {}: {made:?} against {kept:?}", entry.entry_id));
        }
    }
    let mut levels = Tally::default();
    let items: Vec<Uuid> = rebuild.values().into_iter().map(|(item, _)| item).collect();
    let kept = books::find_levels(tx, &items).await?;
    for (key, quantity) in rebuild.levels() {
        levels.add(kept.get(&key) == Some(&quantity), || format!("item {} at {}", key.0, key.1));
    }
    let kept = crate::store::answers::values_of(tx, &items).await?;
    for (item, value) in rebuild.values() {
        levels.add(kept.get(&item) == Some(&value), || format!("value of item {item}: {value:?}"));
    }
    let mut tools = Tally::default();
    let made = rebuild.containers();
    let ids: Vec<Uuid> = made.iter().map(|(id, _)| *id).collect();
    let kept = books::find_containers(tx, &ids).await?;
    for (id, level) in made {
        tools.add(kept.get(&id) == Some(&level), || format!("container {id}: {level:?}"));
    }
    let made = rebuild.pads();
    let ids: Vec<Uuid> = made.iter().map(|(id, _)| *id).collect();
    let kept = books::find_pads(tx, &ids).await?;
    for (id, state) in made {
        tools.add(kept.get(&id) == Some(&state), || format!("pad {id}: {state:?}"));
    }
    Ok(vec![
        lines.finding("I7 lines of each entry equal those rebuilt from it"),
        levels.finding("I7 stock levels and values equal those rebuilt"),
        tools.finding("I7 container estimates and pad states equal those rebuilt"),
    ])
}
