//! `dropwise sweep`: tombstones that have stood long enough, of every fleet. The server sweeps as phones
//! read; this is for a fleet whose phones have stopped.

use super::owner::OwnerArguments;
use dropwise::clock::Clock;
use dropwise::config::SyncConfig;
use dropwise::sync::sweeping;

/// How long they stand.
#[derive(Debug, clap::Args)]
pub(crate) struct SweepArguments {
    #[command(flatten)]
    sync: SyncConfig,
    #[command(flatten)]
    owner: OwnerArguments,
}

/// Sweeps all there is, and says how much it was.
pub(crate) fn run(arguments: &SweepArguments) -> Result<(), String> {
    let before = sweeping::oldest_kept(&arguments.sync, Clock::system().now());
    let lines = arguments.owner.for_each(&async |db, fleet, handle| {
        let swept = sweeping::sweep(db, fleet, before, usize::MAX).await?;
        Ok(format!("{handle}: {swept} swept"))
    })?;
    for line in lines {
        println!("{line}");
    }
    Ok(())
}
