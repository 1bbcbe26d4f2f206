//! An entry that was a mistake: every line it made is booked again with the opposite sign, on the same
//! day, and the containers and pads go back to where they would be without it.

use super::books::{At, Books, CostFor, StockFor};
use super::bottle;
use super::cards::Author;
use super::facts::{Fact, SectionWork};
use super::refusal::EntryRefusal;
use super::section_work;
use super::{Basis, Earlier, pads};
use crate::auth::Role;
use crate::store::books::{ContainerLevel, Lines};
use dropwise_core::CoreError;
use dropwise_core::exact::stock_average::AverageStock;
use dropwise_core::exact::stock_lot::Lot;
use dropwise_core::stats::bottle::{BottleNoise, BottleState};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use uuid::Uuid;

/// Whether it can be booked.
pub(super) fn judge(
    earlier: Option<&Earlier>,
    entry_id: Uuid,
    books: &Books,
    author: Author,
) -> Result<(), EntryRefusal> {
    let refuse = |code, sentence| Err(EntryRefusal::at(code, "entry_id", sentence));
    let Some(earlier) = earlier else {
        return refuse("no_such_record", "There is no booked entry of that id here.");
    };
    if author.role == Role::Technician && earlier.member_id != author.member.0 {
        return refuse(
            "not_your_entry",
            "Reverse only your own entries; the office reverses those of others.",
        );
    }
    if earlier.reversed {
        return refuse("already_reversed", "This entry has been reversed already.");
    }
    match &earlier.fact {
        Fact::Reversal(_) => refuse(
            "reversal_is_final",
            "A reversal cannot be reversed. Write the fact down again as a new entry.",
        ),
        Fact::CardEdit(_) | Fact::JobCommand(_) => {
            refuse("edit_is_no_fact", "An edit is not reversed: write the field again, or move the job on.")
        }
        Fact::WeighIn(fact) => {
            let level = books.containers.get(&fact.container_id);
            let believed = books.earlier_marks.contains_key(&entry_id)
                || books.marks.iter().any(|(entry, _, _)| *entry == entry_id);
            if believed && level.and_then(|l| l.last_weigh_id) != Some(entry_id) {
                return refuse(
                    "later_weigh_in",
                    "A later weigh-in rests on this one. Reverse that one first.",
                );
            }
            Ok(())
        }
        Fact::ContainerOpen(fact) => match books.containers.get(&fact.container_id) {
            Some(level) if untouched(level) => Ok(()),
            _ => refuse(
                "container_in_use",
                "The container has been used or weighed since. Reverse those entries first.",
            ),
        },
        Fact::SectionWork(SectionWork { pad_id: Some(pad), .. }) => {
            let gone = books.pads.get(pad).is_some_and(|state| state.retired_at.is_some());
            if gone {
                return refuse(
                    "pad_retired_since",
                    "The pad has left service since. Reverse its retirement first.",
                );
            }
            Ok(())
        }
        Fact::SectionWork(_)
        | Fact::PadWash(_)
        | Fact::PadRetire(_)
        | Fact::Receipt(_)
        | Fact::StockMove(_)
        | Fact::StockCount(_)
        | Fact::WorkTime(_)
        | Fact::Trip(_)
        | Fact::Photo(_) => Ok(()),
    }
}

fn untouched(level: &ContainerLevel) -> bool {
    let nothing_drawn = level.draws_since.is_empty();
    nothing_drawn && level.doses_since == 0 && level.weigh_ins == 0 && level.flagged == 0
}

/// Books the opposite of everything the earlier entry did.
pub(super) fn book(books: &mut Books, earlier: &Earlier, entry_id: Uuid, at: At) -> Result<(), CoreError> {
    let lines = lines_of(books, entry_id);
    negate_stock(books, &lines, at)?;
    for line in &lines.costs {
        let of =
            CostFor { what: &line.what, job_id: line.job_id, subject_id: line.subject_id, unit: &line.unit };
        books.cost(At { day: line.booked_on, ..at }, of, -line.quantity, -line.amount)?;
    }
    for line in &lines.pads {
        let mut opposite = line.clone();
        opposite.cycles = line.cycles.saturating_neg();
        opposite.cycles_since_wash = line.cycles_since_wash.saturating_neg();
        opposite.washes = line.washes.saturating_neg();
        opposite.load_ml = -line.load_ml;
        opposite.worked_m2 = -line.worked_m2;
        opposite.amount = -line.amount;
        if let Some(state) = books.pads.get(&line.pad_id).cloned() {
            let mut state = pads::after(state, &opposite)?;
            if matches!(earlier.fact, Fact::PadRetire(_)) {
                state.retired_at = None;
                state.retired_why = None;
            }
            books.pads.set(line.pad_id, state);
        }
        books.pad_line(at, opposite)?;
    }
    match (&earlier.fact, &earlier.basis) {
        (Fact::SectionWork(fact), Basis::SectionWork(basis)) => give_back(books, fact, basis, &lines, at),
        (Fact::WeighIn(fact), _) => unweigh(books, fact.container_id, entry_id),
        (Fact::ContainerOpen(fact), _) => {
            books.containers.remove(fact.container_id);
            Ok(())
        }
        _ => Ok(()),
    }
}

/// The lines an entry made, in this batch or before it.
fn lines_of(books: &Books, entry_id: Uuid) -> Lines {
    if let Some(lines) = books.earlier.get(&entry_id) {
        return lines.clone();
    }
    Lines {
        stock: books.lines.stock.iter().filter(|l| l.entry_id == entry_id).cloned().collect(),
        costs: books.lines.costs.iter().filter(|l| l.entry_id == entry_id).cloned().collect(),
        pads: books.lines.pads.iter().filter(|l| l.entry_id == entry_id).cloned().collect(),
    }
}

fn negate_stock(books: &mut Books, lines: &Lines, at: At) -> Result<(), CoreError> {
    for line in &lines.stock {
        let at = At { day: line.booked_on, ..at };
        let of = StockFor {
            what: &line.what,
            item_id: line.item_id,
            place_id: line.place_id,
            job_id: line.job_id,
        };
        books.add_level(line.item_id, line.place_id, -line.quantity)?;
        books.stock_line(at, of, -line.quantity, -line.amount)?;
        if line.what == "move" {
            continue;
        }
        let account = books.account(line.item_id);
        let change = Lot { quantity: line.quantity, value: line.amount };
        let mut on_hand = account.on_hand.less(change)?;
        // No value without units, and none of the wrong sign: what is left over is a line of its own.
        let stranded = on_hand.quantity.is_zero()
            || (on_hand.quantity > Decimal::ZERO) != (on_hand.value > Decimal::ZERO)
                && !on_hand.value.is_zero();
        let over = if stranded { on_hand.value } else { Decimal::ZERO };
        if stranded {
            on_hand.value = Decimal::ZERO;
        }
        books.save_account(line.item_id, AverageStock { on_hand, ..account })?;
        if !over.is_zero() {
            let of = StockFor { what: "price_true_up", job_id: None, ..of };
            books.stock_line(at, of, Decimal::ZERO, -over)?;
            let cost =
                CostFor { what: "price_true_up", job_id: None, subject_id: Some(line.item_id), unit: "" };
            books.cost(at, cost, Decimal::ZERO, over)?;
        }
    }
    Ok(())
}

/// Puts drawn product back into its containers. Where the scale has spoken since, the level stands as
/// weighed, and the product was used by nobody knows whom: the job is freed, a line without job bears it.
fn give_back(
    books: &mut Books,
    fact: &SectionWork,
    basis: &section_work::Basis,
    lines: &Lines,
    at: At,
) -> Result<(), CoreError> {
    let mut drawn = lines.costs.iter().filter(|line| line.what == "product");
    for (dose, from) in fact.doses.iter().zip(&basis.containers) {
        let Some(mut level) = books.containers.get(&dose.container_id).cloned() else { continue };
        // A dose of nothing made no line.
        let Some(line) = drawn.clone().next().filter(|line| line.subject_id == Some(dose.container_id))
        else {
            continue;
        };
        drawn.next();
        let (ml, value) = (line.quantity, line.amount);
        if level.weigh_ins == from.weigh_ins {
            let count = dose.count.unwrap_or(0);
            let state = undrawn(&level, ml.to_f64().unwrap_or_default(), count)?;
            bottle::keep(&mut level, &state);
            level.doses_since = level.doses_since.saturating_sub(i64::from(count));
            bottle::add_draw(&mut level, fact.job_id, -ml)?;
            books.containers.set(dose.container_id, level);
        } else {
            let (item_id, place_id) = (level.item_id, level.place_id);
            let account = books.account(item_id);
            let on_hand = account.on_hand.less(Lot { quantity: ml, value })?;
            books.save_account(item_id, AverageStock { on_hand, ..account })?;
            books.add_level(item_id, place_id, -ml)?;
            books.stock_line(
                at,
                StockFor { what: "true_up", item_id, place_id, job_id: None },
                -ml,
                -value,
            )?;
            let cost =
                CostFor { what: "true_up", job_id: None, subject_id: Some(dose.container_id), unit: "ml" };
            books.cost(at, cost, ml, value)?;
        }
    }
    Ok(())
}

/// The estimate without a draw of `count` doses that was booked as `ml`: the prediction run backwards.
fn undrawn(level: &ContainerLevel, ml: f64, count: u32) -> Result<BottleState, CoreError> {
    let [p00, p01, p11] = level.covariance;
    let n = f64::from(count);
    let back = [p00 + 2.0 * n * p01 + n * n * p11, p01 + n * p11, p11];
    BottleState::from_parts(
        [level.mean[0] + ml, level.mean[1]],
        [[back[0].max(0.0), back[1]], [back[1], back[2]]],
    )
}

/// The estimate as if a weigh-in had not been: as before it, less what was drawn since.
fn unweigh(books: &mut Books, container: Uuid, entry_id: Uuid) -> Result<(), CoreError> {
    let Some(level) = books.containers.get(&container).cloned() else { return Ok(()) };
    let in_batch =
        books.marks.iter().find(|(entry, _, _)| *entry == entry_id).map(|(_, _, before)| before.clone());
    let Some(before) = in_batch.or_else(|| books.earlier_marks.get(&entry_id).cloned()) else {
        // It was flagged and never believed.
        let flagged = level.flagged.saturating_sub(1);
        books.containers.set(container, ContainerLevel { flagged, ..level });
        return Ok(());
    };
    let Some(mut restored) = before else { return Ok(()) };
    let doses = u32::try_from(level.doses_since).unwrap_or(0);
    let noise: BottleNoise = bottle::noise(&restored);
    let state = bottle::state(&restored)?.after_drops(doses, &noise)?;
    let since: Decimal = level.draws_since.values().map(|drawn| drawn.0).sum();
    let [[p00, p01], [_, p11]] = state.covariance();
    let remaining = restored.mean[0] - since.to_f64().unwrap_or_default();
    let state = BottleState::from_parts([remaining, restored.mean[1]], [[p00, p01], [p01, p11]])?;
    bottle::keep(&mut restored, &state);
    restored.place_id = level.place_id;
    restored.flagged = level.flagged;
    restored.doses_since = restored.doses_since.saturating_add(level.doses_since);
    for (job, ml) in level.draws_since {
        bottle::add_draw(&mut restored, job, ml.0)?;
    }
    books.containers.set(container, restored);
    Ok(())
}
