//! What an all-seeing bystander notes down while things happen, and what they find wrong at once.
//! What can only be judged when all is quiet is in `checker`.

use super::checker;
use super::server::tables::Fleet;
use super::server::{Asker, Committed, ROOM, Server};
use super::world::Device;
use crate::phone::Phone;
use crate::phone::store::{Key, Reading};
use crate::phone::wire::{Problem, Reply, Row, RowState, Verdict, Word};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// A property that does not hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wrong {
    /// The property's name.
    pub property: &'static str,
    /// What was seen.
    pub seen: String,
}

/// How often things happened: a run in which something never did has not tried it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tally(pub BTreeMap<String, u64>);

impl Tally {
    /// One more.
    pub fn count(&mut self, what: &str) {
        match self.0.get_mut(what) {
            Some(count) => *count += 1,
            None => {
                self.0.insert(what.to_owned(), 1);
            }
        }
    }

    /// Both together.
    pub fn add(&mut self, other: &Self) {
        for (what, count) in &other.0 {
            *self.0.entry(what.clone()).or_default() += count;
        }
    }
}

/// Notes.
#[derive(Debug, Default)]
pub struct Watch {
    /// What does not hold; the first is what counts.
    pub wrong: Vec<Wrong>,
    /// The database was put back and nothing shows it yet: until the operator says so, positions may be
    /// given out a second time in one era, and only what is safe can be promised.
    pub silent: bool,
    /// How often phones died.
    pub crashes: u64,
    /// How often everything else happened.
    pub tally: Tally,
    /// Every intent that became durable, and whose it is.
    pub written: BTreeMap<Uuid, Asker>,
    /// What a closed month came to.
    pub closed: BTreeMap<(Uuid, i64), i64>,
    words: BTreeMap<Uuid, Word>,
    entries: BTreeMap<Uuid, Vec<Uuid>>,
    containers: BTreeMap<Uuid, Vec<Uuid>>,
    positions: BTreeMap<(Uuid, String), i64>,
    phones: Vec<Notes>,
}

/// About one phone.
#[derive(Debug, Clone, Default)]
struct Notes {
    own: BTreeSet<Uuid>,
    seen: BTreeMap<Key, i64>,
    edition: u64,
    looked: (u64, usize),
    era: Option<String>,
}

impl Watch {
    /// One more phone.
    pub fn new_device(&mut self) {
        self.phones.push(Notes::default());
    }

    pub(super) fn copied(&mut self, device: usize) {
        self.tally.count("phone copied");
        self.phones.push(self.phones[device].clone());
    }

    /// Notes something wrong.
    pub fn claim(&mut self, property: &'static str, holds: bool, seen: impl FnOnce() -> String) {
        if !holds {
            self.wrong.push(Wrong { property, seen: seen() });
        }
    }

    /// Entries anybody of a fleet has written.
    #[must_use]
    pub fn entries_of(&self, fleet: Uuid) -> &[Uuid] {
        self.entries.get(&fleet).map_or(&[], Vec::as_slice)
    }

    /// Bottles anybody of a fleet has registered.
    #[must_use]
    pub fn containers_of(&self, fleet: Uuid) -> &[Uuid] {
        self.containers.get(&fleet).map_or(&[], Vec::as_slice)
    }

    /// An intent became durable on a phone.
    pub fn written(&mut self, device: usize, who: Asker, id: Uuid, opens: Option<Uuid>) {
        self.written.insert(id, who);
        self.entries.entry(who.fleet).or_default().push(id);
        self.containers.entry(who.fleet).or_default().extend(opens);
        self.phones[device].own.insert(id);
    }

    /// One final verdict per id: a parked entry may become taken or refused, once; nothing else changes.
    pub fn said(&mut self, verdicts: &[Verdict]) {
        for verdict in verdicts {
            self.tally.count(&format!("verdict {:?}", verdict.verdict));
            if matches!(verdict.verdict, Word::Later | Word::Reused) {
                continue;
            }
            let before = self.words.insert(verdict.id, verdict.verdict);
            let may = before.is_none_or(|before| before == verdict.verdict || before == Word::Parked);
            self.claim("one final verdict per id", may, || {
                format!("{} was {before:?} and is {:?}", verdict.id, verdict.verdict)
            });
        }
    }

    /// Positions are unique and rise in commit order within an era.
    pub(super) fn committed(&mut self, fleet: Uuid, told: &Committed) {
        let Some(first) = told.positions.first().copied() else { return };
        let rising = told.positions.windows(2).all(|pair| pair[0] < pair[1]);
        let last = self
            .positions
            .insert((fleet, told.era.clone()), told.positions.iter().fold(first, |a, b| a.max(*b)));
        self.claim(
            "positions unique and rising in commit order",
            rising && last.is_none_or(|last| last < first),
            || format!("{:?} after {last:?}", told.positions),
        );
    }

    /// Isolation, and bounded pages: of everything the server says to a reader.
    pub(super) fn read(&mut self, who: Asker, server: &Server, reply: &Reply) {
        let rows: &[Row] = match reply {
            Reply::Trail(page) => {
                let rising = page.rows.windows(2).all(|pair| pair[0].position < pair[1].position);
                self.claim("positions unique and rising in commit order", rising, || format!("{page:?}"));
                self.tally.count("trail page");
                &page.rows
            }
            Reply::FreshCopy(page) => {
                let here = page.rows.iter().all(|row| row.state == RowState::Here);
                self.claim("convergence", here, || format!("a fresh copy tells of what is gone: {page:?}"));
                self.tally.count("copy page");
                &page.rows
            }
            Reply::Problem(Problem { status, code, .. }) => {
                self.tally.count(&format!("{status} {code}"));
                return;
            }
            Reply::Enrolled | Reply::Handover(_) | Reply::Nothing => return,
        };
        self.claim("bounded pages", rows.len() <= ROOM, || format!("{} rows", rows.len()));
        let place = server.fleets.get(&who.fleet).and_then(|fleet| fleet.members.get(&who.member));
        let own = [Some(who.fleet), Some(who.member), place.map(|member| member.place)];
        let fleet = who.fleet.to_string();
        let strange = rows.iter().find(|row| {
            let told = row.state != RowState::Here || row.body.text().contains(&fleet);
            !own.contains(&Some(row.audience_id)) || !told
        });
        let strange = strange.cloned();
        self.claim("isolation by fleet and audience", strange.is_none(), || {
            format!("{who:?} was told {strange:?}")
        });
    }

    pub(super) fn office(&mut self, fleet: &Fleet) {
        for month in &fleet.closed {
            let figure = fleet.months.get(month).copied().unwrap_or(0);
            self.closed.entry((fleet.id, *month)).or_insert(figure);
        }
    }

    /// The database is an older one now: what it forgot may be judged anew.
    pub(super) fn restored(&mut self, server: &Server) {
        self.tally.count("restore");
        let stored = |id: &Uuid| server.fleets.values().find_map(|fleet| fleet.entries.get(id));
        self.words.retain(|id, _| stored(id).is_some());
        for (id, word) in &mut self.words {
            if let Some(stored) = stored(id) {
                *word = stored.word;
            }
        }
        self.positions.clear();
        self.closed.clear();
        for notes in &mut self.phones {
            notes.seen.clear();
        }
        for fleet in server.fleets.values() {
            self.office(fleet);
        }
    }

    /// The database was put back, and the bystander does not know what it still knows.
    pub fn forget_verdicts(&mut self) {
        self.words.clear();
    }

    /// A phone has carried out a durable step.
    pub fn look(&mut self, device: usize, phone: &Phone) {
        let store = &phone.store;
        if store.wiped {
            self.phones[device].own.clear();
            return;
        }
        // A van's rows were dropped: they may come back as they were.
        if matches!(store.reading, Reading::Copying { .. }) {
            let there: BTreeSet<Uuid> = store.records.keys().map(|(audience, _, _)| *audience).collect();
            self.phones[device].seen.retain(|(audience, _, _), _| there.contains(audience));
        }
        // Positions mean nothing across eras.
        if store.era != self.phones[device].era || self.silent {
            self.phones[device].era.clone_from(&store.era);
            self.phones[device].seen.clear();
        }
        if store.edition != self.phones[device].edition {
            self.phones[device].edition = store.edition;
            self.tally.count("published");
            self.monotonic_reads(device, phone);
        }
        // What is pending or has come back changes only when something is shown or let go.
        let now = (store.edition, store.kept.len());
        if std::mem::replace(&mut self.phones[device].looked, now) != now {
            self.own_writes(device, phone);
        }
    }

    /// Monotonic reads per phone and record: never an older state, never back once gone.
    fn monotonic_reads(&mut self, device: usize, phone: &Phone) {
        let seen = &mut self.phones[device].seen;
        let mut older = None;
        for (key, record) in &phone.store.records {
            match seen.get_mut(key) {
                Some(before) if *before > record.position => {
                    older = Some((key.clone(), *before, record.clone()))
                }
                Some(before) => *before = record.position,
                None => {
                    seen.insert(key.clone(), record.position);
                }
            }
        }
        self.claim("monotonic reads per phone and record", older.is_none(), || {
            format!("phone {device}: {older:?}")
        });
    }

    /// Read your own writes: what was written is pending or has come back, until it is refused.
    fn own_writes(&mut self, device: usize, phone: &Phone) {
        let store = &phone.store;
        let kept: BTreeSet<Uuid> = store.kept.values().map(|kept| kept.entry.id).collect();
        let own = &mut self.phones[device].own;
        let refused = |id: &Uuid| store.verdicts.get(id) == Some(&Word::Refused);
        let missing = own.iter().filter(|id| !kept.contains(id) && !refused(id) && !store.shows_entry(**id));
        let missing: Vec<Uuid> = missing.copied().collect();
        self.claim("read your own writes", missing.is_empty(), || format!("phone {device} lost {missing:?}"));
    }

    /// Bounded retry: whatever the state, queues drain in ten rounds and one for each full batch. A queue
    /// goes a second time when its lane turns out shared, and a third when the database turns out restored.
    pub(super) fn drained(&mut self, device: usize, owed: usize, handed: usize, batches: usize) {
        self.claim("bounded retry", owed == 0 && handed <= 10 + 3 * batches, || {
            format!("phone {device}: {owed} left after {handed} rounds, {batches} batches")
        });
    }

    /// All is quiet.
    pub(super) fn check(&mut self, server: &Server, devices: &[Device]) {
        self.tally.count("quiet");
        let freed = server.fleets.values().map(|fleet| fleet.decided_later).sum::<u64>();
        self.tally.0.insert("decided later".to_owned(), freed);
        for (property, check) in checker::PROPERTIES {
            if let Err(seen) = check(server, devices, self) {
                self.wrong.push(Wrong { property, seen });
            }
        }
    }
}
