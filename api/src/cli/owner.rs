//! What an operator does to every fleet: as the tables' owner, who alone may list them.

use dropwise::ids::FleetId;
use dropwise::store::{Db, heads};
use secrecy::{ExposeSecret, SecretString};

/// Whose fleets.
#[derive(Debug, clap::Args)]
pub(crate) struct OwnerArguments {
    /// The database, as the tables' owner.
    #[arg(long, env = "DROPWISE_OWNER_DATABASE_URL", hide_env_values = true, hide = true)]
    owner_database_url: SecretString,
}

impl OwnerArguments {
    /// Does something for each fleet in turn.
    pub(crate) fn for_each<T>(
        &self,
        each: &impl AsyncFn(&Db, FleetId, &str) -> Result<T, dropwise::error::Error>,
    ) -> Result<Vec<T>, String> {
        let url = self.owner_database_url.expose_secret();
        actix_web::rt::System::new().block_on(async {
            let db = Db::open(url, 1).map_err(|error| error.to_string())?;
            let mut done = Vec::new();
            for (fleet, handle) in heads::list_fleets(&db).await.map_err(|error| error.to_string())? {
                let one = each(&db, fleet, &handle).await;
                done.push(one.map_err(|error| format!("{handle}: {error}"))?);
            }
            if done.is_empty() {
                return Err("no fleet is seen: is this the tables' owner?".to_owned());
            }
            Ok(done)
        })
    }
}
