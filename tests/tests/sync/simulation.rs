//! A million steps from one seed, every property checked; and mistakes planted in the server, each of
//! which must be found.
//!
//! By hand: `DROPWISE_SIM_STEPS=10000000`, `DROPWISE_SIM_SEED=…` for a seed that was printed.

use end_to_end::sim::faults::Fault;
use end_to_end::sim::orders;
use end_to_end::sim::runner::{Failure, run, run_seed, shrink};
use end_to_end::sim::script::Step;
use end_to_end::sim::watch::Tally;
use end_to_end::sim::world::World;
use rand::SeedableRng;
use rand::rngs::Xoshiro256PlusPlus;
use std::time::Instant;

/// Steps of one run: long enough for histories to tangle, short enough to be shrunk.
const LENGTHS: [usize; 4] = [400, 1_500, 4_000, 12_000];
/// Runs that once failed, one a line: `#` and what was wrong, or the steps.
const KEPT: &str = include_str!("../../kept_seeds.txt");

fn setting(name: &str) -> Option<u64> {
    std::env::var(name).ok().and_then(|text| text.parse().ok())
}

fn stop(failure: &Failure, fault: Option<Fault>) -> ! {
    let Failure { seed, wrong, steps } = failure;
    eprintln!(
        "FAILED: seed {seed} after {} steps: {}: {}; shrinking",
        steps.len(),
        wrong.property,
        wrong.seen
    );
    panic!("{}", shrink(failure, fault, 1_000_000).report());
}

#[test]
fn runs_that_once_failed_hold_now() {
    for line in KEPT.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty()) {
        let steps: Vec<Step> = line.split_whitespace().map(|step| step.parse().expect("a step")).collect();
        if let Some((wrong, at)) = run(&steps, None, &mut Tally::default()) {
            panic!("{}: {} at step {at} of: {line}", wrong.property, wrong.seen);
        }
    }
}

/// What one worker has done.
#[derive(Default)]
struct Done {
    steps: u64,
    runs: u64,
    tally: Tally,
}

/// Runs every `stride`-th seed from `first` until its share is done.
fn work(first: u64, stride: u64, share: u64) -> Result<Done, Box<Failure>> {
    let mut done = Done::default();
    while done.steps < share {
        let seed = first + done.runs * stride;
        let steps = length(seed);
        run_seed(seed, steps, None, &mut done.tally)?;
        done.steps += steps as u64;
        done.runs += 1;
    }
    Ok(done)
}

/// A seed says how long its run is, so that it can be had again by itself.
fn length(seed: u64) -> usize {
    LENGTHS[usize::try_from(seed % 4).expect("small")]
}

#[test]
fn every_property_holds_whatever_happens() {
    let wanted = setting("DROPWISE_SIM_STEPS").unwrap_or(1_000_000);
    let first = setting("DROPWISE_SIM_SEED").unwrap_or(20_261_125);
    let start = Instant::now();
    let workers = std::thread::available_parallelism().map_or(1, |n| n.get() as u64);
    let done: Vec<Result<Done, Box<Failure>>> = std::thread::scope(|scope| {
        let hired: Vec<_> = (0..workers)
            .map(|at| scope.spawn(move || work(first + at, workers, wanted.div_ceil(workers))))
            .collect();
        hired.into_iter().map(|worker| worker.join().expect("a worker")).collect()
    });
    let mut all = Done::default();
    for done in done {
        match done {
            Ok(done) => {
                all.steps += done.steps;
                all.runs += done.runs;
                all.tally.add(&done.tally);
            }
            Err(failure) => stop(&failure, None),
        }
    }
    let took = start.elapsed().as_secs_f64();
    println!(
        "{} steps in {} runs from seed {first}, {workers} at once, in {took:.1} s: {:.0} steps/s",
        all.steps,
        all.runs,
        all.steps as f64 / took
    );
    for (what, count) in &all.tally.0 {
        println!("  {count:>9} {what}");
    }
    let never = TRIED.iter().find(|what| all.tally.0.get(**what).is_none_or(|count| *count == 0));
    assert!(all.steps < 1_000_000 || never.is_none(), "{never:?} never happened");
}

/// What must have happened in a million steps, or they have not tried it.
const TRIED: [&str; 20] = [
    "403 member_removed",
    "410 restarted",
    "410 scope_changed",
    "410 too_old",
    "copy page",
    "crash",
    "era rotated by a phone's proof",
    "phone copied",
    "published",
    "quiet",
    "restore",
    "trail page",
    "verdict Adjusted",
    "verdict Later",
    "verdict Parked",
    "verdict Refused",
    "verdict Reused",
    "verdict Taken",
    "verdict Yielded",
    "decided later",
];

/// A mistake counts as found when a property it breaks is seen broken, and holds without the mistake.
fn find(fault: Fault) -> Result<String, String> {
    let mut tried = 0;
    for seed in 1..600 {
        let steps = if seed % 2 == 0 { 400 } else { 1_500 };
        tried += steps;
        let Err(found) = run_seed(seed, steps, Some(fault), &mut Tally::default()) else { continue };
        if let Some(sound) = run(&found.steps, None, &mut Tally::default()) {
            return Err(format!("seed {seed} fails without {fault:?} as well: {sound:?}"));
        }
        let property = found.wrong.property;
        if !fault.breaks().contains(&property) {
            return Err(format!("{fault:?} breaks something else: {}", found.report()));
        }
        let small = shrink(&found, Some(fault), 20_000);
        let (long, short) = (found.steps.len(), small.steps.len());
        return Ok(format!("{fault:?}: {property}: after {tried} steps, {long} shrunk to {short}"));
    }
    Err(format!("{fault:?} was not found in {tried} steps"))
}

#[test]
fn every_planted_mistake_is_found() {
    let start = Instant::now();
    let all = Fault::ALL;
    let (first, second) = all.split_at(all.len() / 2);
    let look = |faults: &[Fault]| faults.iter().map(|fault| find(*fault)).collect::<Vec<_>>();
    let looked = std::thread::scope(|scope| {
        let workers = [first, second].map(|faults| scope.spawn(move || look(faults)));
        workers.map(|worker| worker.join().expect("a worker"))
    });
    for line in looked.iter().flatten() {
        println!("{line:?}");
    }
    println!("in {:.1} s", start.elapsed().as_secs_f64());
    assert!(looked.iter().flatten().all(Result::is_ok), "not every mistake was found: {looked:#?}");
}

/// Independence of arrival order: all permutations of up to six entries.
#[test]
fn every_order_of_arrival_ends_alike() {
    let world = World::new(None);
    let fleet = world.server.fleets.values().next().expect("a fleet");
    let now_ms = 1_800_000_100_000;
    let mut tried = 0;
    for seed in 0..setting("DROPWISE_SIM_ORDERS").unwrap_or(60) {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let count = if seed % 6 == 0 { 6 } else { 2 + usize::try_from(seed % 4).expect("small") };
        let sent = orders::entries(fleet, count, now_ms, &mut rng);
        let all = orders::permutations(count);
        let first = orders::outcome(fleet, &sent, &all[0], now_ms);
        for order in &all {
            let other = orders::outcome(fleet, &sent, order, now_ms);
            assert_eq!(other, first, "seed {seed}, order {order:?} of {sent:#?}");
        }
        tried += all.len();
    }
    println!("{tried} orders");
}
