//! `dropwise files`: what an operator does with the files of fleets.

use dropwise::clock::Clock;
use dropwise::config::FilesConfig;
use dropwise::flows::files::sweep;
use dropwise::store::{Db, trail};
use secrecy::{ExposeSecret, SecretString};

#[derive(Debug, clap::Args)]
pub(crate) struct FilesArguments {
    #[command(subcommand)]
    task: FilesTask,
}

#[derive(Debug, clap::Subcommand)]
enum FilesTask {
    /// Take away uploads nobody sent on and files nothing referred to for 48 hours, and what a crash left.
    Sweep(SweepArguments),
}

#[derive(Debug, clap::Args)]
struct SweepArguments {
    /// The database, as the server's own role: `DROPWISE_DATABASE_URL`.
    #[arg(long, env = "DROPWISE_DATABASE_URL", hide_env_values = true, hide = true)]
    database_url: SecretString,
    #[command(flatten)]
    files: FilesConfig,
    /// The fleets to sweep behind, by their handles.
    #[arg(required = true)]
    fleets: Vec<String>,
}

/// Sweeps, and says in one line per fleet what was taken away.
pub(crate) fn run(arguments: &FilesArguments) -> Result<(), String> {
    let FilesTask::Sweep(arguments) = &arguments.task;
    let db = Db::open(arguments.database_url.expose_secret(), 1).map_err(|error| error.to_string())?;
    let cabinet = arguments.files.open().map_err(|error| error.to_string())?;
    let now = Clock::system().now();
    actix_web::rt::System::new().block_on(async {
        for handle in &arguments.fleets {
            let found = trail::fleet_of_handle(&db, handle).await.map_err(|error| error.to_string())?;
            let fleet = found.ok_or_else(|| format!("there is no fleet with the handle {handle:?}"))?;
            let swept = sweep::everything(&db, &cabinet, fleet, now).await;
            let swept = swept.map_err(|error| error.to_string())?;
            println!(
                "{handle}: {} unfinished uploads, {} files nothing referred to, {} blobs of nothing",
                swept.uploads, swept.files, swept.blobs
            );
        }
        Ok(())
    })
}
