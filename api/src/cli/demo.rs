//! `dropwise demo`: fills in the demo fleet, once.

use chrono::{Days, NaiveDate};
use dropwise::auth::password::Hasher;
use dropwise::clock::Clock;
use dropwise::config::HashingConfig;
use dropwise::demo::{self, Options, people};
use dropwise::store::Db;
use secrecy::{ExposeSecret, SecretString};

/// Which year to make up.
#[derive(Debug, clap::Args)]
pub(crate) struct DemoArguments {
    /// The database, as the server's own role: `DROPWISE_DATABASE_URL`.
    #[arg(long, env = "DROPWISE_DATABASE_URL", hide_env_values = true, hide = true)]
    database_url: SecretString,
    /// How many days.
    #[arg(long, env = "DROPWISE_DEMO_DAYS", default_value_t = 365, value_parser = clap::value_parser!(u32).range(1..=3650))]
    days: u32,
    /// Which of the possible years.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// The last day; yesterday when not said.
    #[arg(long)]
    ends_on: Option<NaiveDate>,
    #[command(flatten)]
    hashing: HashingConfig,
}

/// Makes a year up, books it, and says how to sign in and how good the estimates were.
pub(crate) fn fill(arguments: DemoArguments) -> Result<(), String> {
    let today = Clock::system().now().with_timezone(&people::ZONE).date_naive();
    let yesterday = today.checked_sub_days(Days::new(1)).unwrap_or(today);
    let ends_on = arguments.ends_on.unwrap_or(yesterday);
    let options = Options { days: arguments.days, seed: arguments.seed, ends_on };
    let hasher =
        Hasher::new(arguments.hashing, 1).map_err(|_| "the hashing settings do not fit".to_owned())?;
    let url = arguments.database_url;
    actix_web::rt::System::new().block_on(async move {
        let db = Db::open(url.expose_secret(), 1).map_err(|error| error.to_string())?;
        let filled = demo::fill(&db, &hasher, options, |line| eprintln!("demo: {line}")).await;
        match filled.map_err(|error| error.to_string())? {
            Some(outcome) => print!("{outcome}"),
            None => println!("The demo fleet exists already; nothing was changed."),
        }
        Ok(())
    })
}
