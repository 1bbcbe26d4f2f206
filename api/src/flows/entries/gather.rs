//! Reads everything a batch looks at: locked first, in one order for everybody, then read once.

use super::cards::Cards;
use super::facts::Fact;
use super::judge::{Read, reread};
use super::table::Table;
use super::{Asked, Basis, Desk, Earlier, books::Books, container_open};
use crate::error::Error;
use crate::flows::cards::kinds::{Card, Container, Pad};
use crate::flows::cards::writing::Writing;
use crate::flows::tagged;
use crate::store::cards::{CardRecord, Hold};
use crate::store::{Tx, accounts, books, cards, entries};
use std::collections::{BTreeSet, HashMap};
use uuid::Uuid;

/// The ids a batch names, by what is done with them.
#[derive(Debug, Default)]
struct Named {
    /// Containers and pads: their cards are the lock on their state.
    tools: BTreeSet<Uuid>,
    /// Everything else a fact points at.
    others: BTreeSet<Uuid>,
    items: BTreeSet<Uuid>,
    members: BTreeSet<Uuid>,
    reversed: BTreeSet<Uuid>,
    opened: BTreeSet<Uuid>,
    /// Jobs, which are also among the others.
    jobs: BTreeSet<Uuid>,
    /// Cards whose fields or state are written.
    written: BTreeSet<Uuid>,
}

impl Named {
    fn add(&mut self, fact: &Fact) {
        match fact {
            Fact::SectionWork(fact) => {
                self.jobs.insert(fact.job_id);
                self.others.insert(fact.job_id);
                self.others.extend(fact.machine_id);
                self.tools.extend(fact.pad_id);
                self.tools.extend(fact.doses.iter().map(|dose| dose.container_id));
                self.items.extend(fact.supplies.iter().map(|used| used.item_id));
            }
            Fact::ContainerOpen(fact) => {
                self.tools.insert(fact.container_id);
                self.opened.insert(fact.container_id);
            }
            Fact::WeighIn(fact) => {
                self.tools.insert(fact.container_id);
            }
            Fact::PadWash(fact) => {
                self.tools.insert(fact.pad_id);
            }
            Fact::PadRetire(fact) => {
                self.tools.insert(fact.pad_id);
            }
            Fact::Receipt(fact) => {
                self.items.insert(fact.item_id);
                self.others.insert(fact.place_id);
            }
            Fact::StockMove(fact) => {
                self.items.insert(fact.item_id);
                self.others.extend([fact.from_place_id, fact.to_place_id]);
            }
            Fact::StockCount(fact) => {
                self.items.insert(fact.item_id);
                self.others.insert(fact.place_id);
            }
            Fact::WorkTime(fact) => {
                self.jobs.extend(fact.job_id);
                self.others.extend(fact.job_id);
                self.members.extend(fact.member_id.map(|member| member.0));
            }
            Fact::Trip(fact) => {
                self.others.insert(fact.place_id);
                self.jobs.extend(fact.job_id);
                self.others.extend(fact.job_id);
            }
            Fact::Photo(fact) => {
                self.others.insert(fact.job_id);
            }
            Fact::Reversal(fact) => {
                self.reversed.insert(fact.entry_id);
            }
            Fact::CardEdit(fact) => {
                self.written.insert(fact.card_id);
            }
            Fact::JobCommand(fact) => {
                self.written.insert(fact.job_id);
            }
        }
    }
}

fn list(ids: &BTreeSet<Uuid>) -> Vec<Uuid> {
    ids.iter().copied().collect()
}

/// Everything the batch looks at. Lock order: cards of tools and cards to be written → other cards →
/// item values.
pub(super) async fn gather<'a, 'b: 'a>(
    tx: &mut Tx,
    asked: impl Iterator<Item = &'a Asked<'b>> + Clone,
) -> Result<Desk, Error> {
    let mut named = Named::default();
    for asked in asked.clone() {
        named.members.insert(asked.author.member.0);
        if let Read::Fact(fact) = &asked.read {
            named.add(fact);
        }
    }
    let reversed = entries::find_many(tx, &list(&named.reversed)).await?;
    let mut earlier = HashMap::new();
    for entry in reversed.iter().filter(|entry| entries::BOOKED.contains(&entry.verdict.as_str())) {
        let Some(fact) = reread(&entry.kind, entry.form, &entry.body) else { continue };
        named.add(&fact);
        let basis: Basis =
            serde_json::from_value(entry.basis.clone().unwrap_or_default()).map_err(Error::internal)?;
        let member_id = entry.member_id;
        earlier.insert(
            entry.entry_id,
            Earlier { fact, basis, member_id, reversed: entry.reversed_by.is_some() },
        );
    }

    let fleet_id = tx.fleet().0;
    let mut held = named.tools.clone();
    if !named.written.is_empty() {
        // A job that one entry writes and another works on is held once, and as strongly as it must be.
        held.extend(named.written.iter().chain(&named.jobs));
    }
    let mut found = cards::lock_many(tx, &list(&held), Hold::Edit).await?;
    let mut writings = HashMap::new();
    for id in &named.written {
        if let Some(record) = found.get(id) {
            writings.insert(*id, Writing::of(record.clone())?);
        }
    }
    let missing: Vec<Uuid> = named.written.iter().copied().filter(|id| !found.contains_key(id)).collect();
    let deleted = cards::find_deleted(tx, &missing).await?.into_iter().collect();
    named.others.insert(fleet_id);
    named.others.extend(named.items.iter().copied());
    found.extend(cards::lock_many(tx, &list(&named.others), Hold::Share).await?);
    let mut known_cards = Cards { fleet_id, ..Cards::default() };
    take_in(&mut known_cards, found)?;
    // What those cards point at: an item behind a container, a vehicle behind a job, its class behind it.
    for _ in 0..3 {
        let wanted = pointed_at(&known_cards);
        if wanted.is_empty() {
            break;
        }
        let next = cards::find_many(tx, &list(&wanted)).await?;
        take_in(&mut known_cards, next)?;
    }
    for (card, _) in known_cards.by_id.values() {
        if let Card::Container(Container { item_id, .. }) | Card::Pad(Pad { item_id, .. }) = card {
            named.items.insert(*item_id);
        }
    }
    named.items.retain(|id| matches!(known_cards.by_id.get(id), Some((Card::Item(_), _))));

    // Twins of this batch in other requests wait at the locks above; only now can they be seen.
    let mut ids: Vec<Uuid> = list(&named.reversed);
    ids.extend(asked.flat_map(Asked::names));
    let known = entries::find_known(tx, &ids).await?;

    let (items, tools) = (list(&named.items), list(&named.tools));
    let mut on_desk = Books {
        containers: Table::of(books::find_containers(tx, &tools).await?),
        pads: Table::of(books::find_pads(tx, &tools).await?),
        ..Books::default()
    };
    // Only entries of earlier batches: one of this batch is looked up on the desk itself.
    let back: Vec<Uuid> = earlier.keys().copied().collect();
    on_desk.earlier_marks = books::find_marks(tx, &back).await?;
    on_desk.earlier = books::lines_of(tx, &back).await?.by_entry();

    let members = list(&named.members);
    known_cards.members = accounts::find_retired(tx, &members).await?;
    for rate in accounts::list_pay_rates(tx, &members).await? {
        known_cards.rates.entry(rate.member_id).or_default().push(rate);
    }
    let mut weighed = HashMap::new();
    for id in &named.opened {
        let Some((Card::Container(container), _)) = known_cards.by_id.get(id) else { continue };
        if let std::collections::hash_map::Entry::Vacant(slot) = weighed.entry(container.item_id) {
            slot.insert(
                books::find_weighed(tx, container.item_id, container_open::word(container.dose), 30).await?,
            );
        }
    }
    // Last, because phones of one fleet take turns here: the item's value is held until the end.
    on_desk.values = Table::of(books::lock_values(tx, &items).await?);
    on_desk.levels = Table::of(books::find_levels(tx, &items).await?);
    Ok(Desk {
        cards: known_cards,
        books: on_desk,
        weighed,
        earlier,
        known,
        new: Vec::new(),
        reversed: Vec::new(),
        told: Vec::new(),
        writings,
        deleted,
        lane: None,
        replaced: None,
        waits: HashMap::new(),
        decided: Vec::new(),
        booked: 0,
    })
}

fn take_in(into: &mut Cards, found: HashMap<Uuid, CardRecord>) -> Result<(), Error> {
    for (id, record) in found {
        let card: Card = tagged::read(record.kind.word(), &record.body).map_err(Error::internal)?;
        into.by_id.insert(id, (card, record.retired_at.is_some()));
    }
    Ok(())
}

fn pointed_at(cards: &Cards) -> BTreeSet<Uuid> {
    let mut wanted = BTreeSet::new();
    for (card, _) in cards.by_id.values() {
        if let Card::Container(Container { item_id, place_id, .. })
        | Card::Pad(Pad { item_id, place_id, .. }) = card
        {
            wanted.extend([*item_id, *place_id]);
        } else if let Card::Job(job) = card {
            wanted.insert(job.vehicle_id);
        } else if let Card::Vehicle(vehicle) = card {
            wanted.insert(vehicle.vehicle_class_id);
        }
    }
    wanted.retain(|id| !cards.by_id.contains_key(id));
    wanted
}
