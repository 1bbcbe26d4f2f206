//! `dropwise era`: which history each fleet's phones read.
//!
//! After a planned move that lost nothing (a standby promoted after the primary was stopped, an upgrade),
//! `keep` before the server starts spares every phone a fresh copy. After a restore from a copy that the
//! server cannot tell from the original (a disk image put back), `rotate` before it starts.

use super::owner::OwnerArguments;
use dropwise::clock::Clock;
use dropwise::sync::era::{self, Why};

/// What to do with the eras.
#[derive(Debug, clap::Args)]
pub(crate) struct EraArguments {
    /// `show` says them, `keep` lets them stay where the database lives now, `rotate` begins others.
    what: What,
    #[command(flatten)]
    owner: OwnerArguments,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum What {
    Show,
    Keep,
    Rotate,
}

/// Shows, keeps or rotates, and says what holds afterwards.
pub(crate) fn run(arguments: &EraArguments) -> Result<(), String> {
    let now = Clock::system().now();
    let what = arguments.what;
    let lines = arguments.owner.for_each(&async |db, fleet, handle| {
        match what {
            What::Show => {}
            What::Keep => era::keep(db, fleet).await?,
            What::Rotate => {
                let seen = db.read(fleet, era::history).await?.era;
                era::rotate(db, fleet, seen, Why::Operator, now).await?;
            }
        }
        let history = db.read(fleet, era::history).await?;
        let note = if history.at_home { "" } else { ", restored: the server will begin another" };
        Ok(format!("{handle}: era {}{note}", history.era))
    })?;
    for line in lines {
        println!("{line}");
    }
    Ok(())
}
