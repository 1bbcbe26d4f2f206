//! Starts a throw-away Postgres and stops it when the last test that leased it is gone.

use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, linger, settings @ ..] = arguments.as_slice() else { return ExitCode::FAILURE };
    let Ok(linger) = linger.parse() else { return ExitCode::FAILURE };
    match end_to_end::cluster::keeper(Path::new(folder), Duration::from_millis(linger), settings) {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => ExitCode::FAILURE,
    }
}
