//! `dropwise audit`: whether the books of a fleet hold, one line per thing that was looked at.

use dropwise::flows::answers::audit;
use dropwise::store::{Db, trail};
use secrecy::{ExposeSecret, SecretString};

#[derive(Debug, clap::Args)]
pub(crate) struct AuditArguments {
    /// The database, as the server's own role.
    #[arg(long, env = "DROPWISE_DATABASE_URL", hide_env_values = true, hide = true)]
    database_url: SecretString,
    /// The fleets to look at, by their handles.
    #[arg(required = true)]
    fleets: Vec<String>,
}

pub(crate) fn run(arguments: &AuditArguments) -> Result<(), String> {
    let db = Db::open(arguments.database_url.expose_secret(), 1).map_err(|error| error.to_string())?;
    actix_web::rt::System::new().block_on(async {
        let mut wrong = 0;
        for handle in &arguments.fleets {
            let found = trail::fleet_of_handle(&db, handle).await.map_err(|error| error.to_string())?;
            let fleet = found.ok_or_else(|| format!("there is no fleet with the handle {handle:?}"))?;
            let findings = db
                .read_long(fleet, async |tx| audit::whole(tx).await)
                .await
                .map_err(|error| error.to_string())?;
            for finding in findings {
                let word = if finding.compared.wrong == 0 { "holds" } else { "BROKEN" };
                println!(
                    "{handle}: {word}: {}: {} compared, {} differ",
                    finding.what, finding.compared.checked, finding.compared.wrong
                );
                if let Some(first) = finding.first {
                    println!("{handle}:   first: {first}");
                }
                wrong += finding.compared.wrong;
            }
        }
        if wrong == 0 { Ok(()) } else { Err(format!("the books do not hold in {wrong} places")) }
    })
}
