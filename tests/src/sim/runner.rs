//! Running scripts, and making a failing one small.

use super::faults::Fault;
use super::script::{Act, Step, script};
use super::watch::{Tally, Wrong};
use super::world::World;
use std::fmt::Write as _;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// A run that went wrong.
#[derive(Debug, Clone)]
pub struct Failure {
    /// The seed it came from.
    pub seed: u64,
    /// What does not hold.
    pub wrong: Wrong,
    /// The steps up to it.
    pub steps: Vec<Step>,
}

/// Runs a script to its end, and lets everything come to rest there; or up to the first thing wrong,
/// answering with how many steps that took.
#[must_use]
pub fn run(steps: &[Step], fault: Option<Fault>, tally: &mut Tally) -> Option<(Wrong, usize)> {
    let mut world = World::new(fault);
    let end = Step { act: Act::Quiet, salt: 0 };
    for (at, step) in steps.iter().chain([&end]).enumerate() {
        world.step(*step);
        if let Some(wrong) = world.watch.wrong.first() {
            return Some((wrong.clone(), at));
        }
    }
    let crashes = world.watch.crashes;
    world.watch.tally.0.insert("crash".to_owned(), crashes);
    world.watch.tally.0.insert("era rotated by a phone's proof".to_owned(), world.server.proofs);
    tally.add(&world.watch.tally);
    None
}

/// The same; a panic is as wrong as anything.
fn run_safely(steps: &[Step], fault: Option<Fault>, tally: &mut Tally) -> Option<(Wrong, usize)> {
    catch_unwind(AssertUnwindSafe(|| run(steps, fault, tally))).unwrap_or_else(|panic| {
        let said = panic.downcast_ref::<String>().cloned();
        let said = said.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()));
        Some((Wrong { property: "no panic", seen: said.unwrap_or_default() }, steps.len()))
    })
}

/// Runs the script of a seed.
///
/// # Errors
/// What went wrong, with the steps that led there.
pub fn run_seed(
    seed: u64,
    steps: usize,
    fault: Option<Fault>,
    tally: &mut Tally,
) -> Result<(), Box<Failure>> {
    let steps = script(seed, steps);
    match run_safely(&steps, fault, tally) {
        None => Ok(()),
        Some((wrong, at)) => {
            Err(Box::new(Failure { seed, wrong, steps: steps[..at.min(steps.len())].to_vec() }))
        }
    }
}

/// Leaves out whatever the failure does not need: halves first, then ever smaller parts, until no single
/// step can go (Zeller and Hildebrandt's delta debugging, 2002), within so many steps of trying.
#[must_use]
pub fn shrink(failure: &Failure, fault: Option<Fault>, patience: usize) -> Failure {
    let mut small = failure.clone();
    let mut part = small.steps.len().div_ceil(2).max(1);
    let mut left = patience;
    loop {
        let mut from = 0;
        let mut shrunk = false;
        while from < small.steps.len() && left > 0 {
            left = left.saturating_sub(small.steps.len().max(1));
            let to = (from + part).min(small.steps.len());
            let without: Vec<Step> = small.steps[..from].iter().chain(&small.steps[to..]).copied().collect();
            match run_safely(&without, fault, &mut Tally::default()) {
                Some((wrong, at)) if wrong.property == small.wrong.property => {
                    small.steps = without[..at.min(without.len())].to_vec();
                    small.wrong = wrong;
                    shrunk = true;
                }
                _ => from = to,
            }
        }
        if left == 0 || (part == 1 && !shrunk) {
            return small;
        }
        if part > 1 {
            part = part.div_ceil(2);
        }
    }
}

impl Failure {
    /// For people: what is wrong, the seed, and the steps that show it.
    #[must_use]
    pub fn report(&self) -> String {
        let mut text = format!("seed {}: {}: {}\n", self.seed, self.wrong.property, self.wrong.seen);
        let _ = writeln!(text, "{} steps, for tests/kept_seeds.txt:", self.steps.len());
        let steps: Vec<String> = self.steps.iter().map(ToString::to_string).collect();
        text += &steps.join(" ");
        text
    }
}
