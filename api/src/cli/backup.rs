//! `dropwise backup-verified`: up to when a backup covers the database.
//!
//! Only a backup that has been restored somewhere and looked at counts, and only what had been committed
//! when it began. Phones forget what is covered.

use super::owner::OwnerArguments;
use chrono::{DateTime, Utc};
use dropwise::clock::Clock;
use dropwise::sync::safe;

/// What is covered.
#[derive(Debug, clap::Args)]
pub(crate) struct BackupArguments {
    /// Everything committed by this instant (RFC 3339) is in the backup.
    #[arg(long)]
    covers: DateTime<Utc>,
    #[command(flatten)]
    owner: OwnerArguments,
}

/// Notes it for every fleet.
pub(crate) fn note(arguments: &BackupArguments) -> Result<(), String> {
    let covers = arguments.covers;
    if covers > Clock::system().now() {
        return Err("a backup cannot cover what has not happened yet".to_owned());
    }
    let done =
        arguments.owner.for_each(&async |db, fleet, _| safe::backup_verified(db, fleet, covers).await)?;
    println!("{} fleets are covered to {}", done.len(), covers.to_rfc3339());
    Ok(())
}
