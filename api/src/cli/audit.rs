//! `dropwise audit`: whether the books of a fleet hold, and its files, one line per thing that was looked at.

use dropwise::flows::answers::audit::{self, Finding};
use dropwise::flows::files::{Cabinet, Quota, check};
use dropwise::store::blobs::Blobs;
use dropwise::store::{Db, trail};
use secrecy::{ExposeSecret, SecretString};

#[derive(Debug, clap::Args)]
pub(crate) struct AuditArguments {
    /// The database, as the server's own role.
    #[arg(long, env = "DROPWISE_DATABASE_URL", hide_env_values = true, hide = true)]
    database_url: SecretString,
    /// Where files are kept; not said, they are not looked at.
    #[arg(long, env = "DROPWISE_FILES")]
    files: Option<String>,
    /// The fleets to look at, by their handles.
    #[arg(required = true)]
    fleets: Vec<String>,
}

pub(crate) fn run(arguments: &AuditArguments) -> Result<(), String> {
    let db = Db::open(arguments.database_url.expose_secret(), 1).map_err(|error| error.to_string())?;
    let cabinet = arguments.files.as_deref().map(open).transpose()?;
    actix_web::rt::System::new().block_on(async {
        let mut wrong = 0;
        for handle in &arguments.fleets {
            let found = trail::fleet_of_handle(&db, handle).await.map_err(|error| error.to_string())?;
            let fleet = found.ok_or_else(|| format!("there is no fleet with the handle {handle:?}"))?;
            let books = db.read_long(fleet, async |tx| audit::whole(tx).await).await;
            wrong += report(handle, books.map_err(|error| error.to_string())?);
            match &cabinet {
                Some(cabinet) => {
                    let files = check::whole(&db, cabinet, fleet).await;
                    wrong += report(handle, files.map_err(|error| error.to_string())?);
                }
                None => {
                    println!(
                        "{handle}: files were not looked at: DROPWISE_FILES does not say where they are"
                    );
                }
            }
        }
        if wrong == 0 { Ok(()) } else { Err(format!("the books or files do not hold in {wrong} places")) }
    })
}

fn open(location: &str) -> Result<Cabinet, String> {
    let blobs = Blobs::open(location).map_err(|error| format!("files cannot be read: {error}"))?;
    Ok(Cabinet::new(blobs, Quota { bytes: u64::MAX, files: u64::MAX }))
}

/// Prints what was found, and answers in how many places it does not hold.
fn report(handle: &str, findings: Vec<Finding>) -> i64 {
    let mut wrong = 0;
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
    wrong
}
