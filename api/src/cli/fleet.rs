//! `dropwise fleet`: a new business, with its owner.

use dropwise::auth::password::Hasher;
use dropwise::clock::Clock;
use dropwise::config::HashingConfig;
use dropwise::flows::accounts::fleets::{self, NewFleet};
use dropwise::store::Db;
use secrecy::{ExposeSecret, SecretString};
use std::io::{IsTerminal, Read};

/// Where the owner's password may come from instead of standard input. Never from an argument: those
/// are seen by everyone on the machine.
const PASSWORD_VARIABLE: &str = "DROPWISE_OWNER_PASSWORD";

/// What the new business is called and who owns it.
#[derive(Debug, clap::Args)]
pub(crate) struct FleetArguments {
    /// The database, as the server's own role: `DROPWISE_DATABASE_URL`.
    #[arg(long, env = "DROPWISE_DATABASE_URL", hide_env_values = true, hide = true)]
    database_url: SecretString,
    /// What its members type to sign in.
    #[arg(long)]
    handle: String,
    /// Name on papers.
    #[arg(long)]
    name: String,
    /// ISO 4217 code; fixed once the fleet exists.
    #[arg(long)]
    currency: String,
    /// IANA time zone that days and months are counted in.
    #[arg(long)]
    zone: String,
    /// What the owner signs in with.
    #[arg(long, default_value = "owner")]
    owner_handle: String,
    /// What the owner is called.
    #[arg(long)]
    owner_name: String,
    #[command(flatten)]
    hashing: HashingConfig,
}

/// Creates the fleet and says its id. The owner's password is read from `DROPWISE_OWNER_PASSWORD` or
/// standard input.
pub(crate) fn create(arguments: FleetArguments) -> Result<(), String> {
    let new = NewFleet {
        handle: arguments.handle,
        name: arguments.name,
        currency: arguments.currency,
        zone: arguments.zone,
        owner_handle: arguments.owner_handle,
        owner_name: arguments.owner_name,
        owner_password: owner_password()?,
    };
    let hasher =
        Hasher::new(arguments.hashing, 1).map_err(|_| "the hashing settings do not fit".to_owned())?;
    let url = arguments.database_url;
    actix_web::rt::System::new().block_on(async move {
        let db = Db::open(url.expose_secret(), 1).map_err(|error| error.to_string())?;
        let created = fleets::create(&db, &hasher, new, Clock::system().now()).await;
        let (fleet, owner) = created.map_err(|error| error.to_string())?;
        println!("fleet {fleet}\nowner {owner}");
        Ok(())
    })
}

fn owner_password() -> Result<SecretString, String> {
    if let Ok(password) = std::env::var(PASSWORD_VARIABLE) {
        return Ok(password.into());
    }
    let mut input = std::io::stdin();
    if input.is_terminal() {
        eprintln!("The owner's password (it will be seen as it is typed), then Enter and Ctrl-D:");
    }
    let mut text = String::new();
    input.read_to_string(&mut text).map_err(|error| format!("no password on standard input: {error}"))?;
    // Only the end of the line is not part of it.
    let line = text.strip_suffix('\n').unwrap_or(&text);
    Ok(line.strip_suffix('\r').unwrap_or(line).into())
}
