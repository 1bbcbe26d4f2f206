//! Whether the files of a fleet are what they were: every blob against its digest, the room against the
//! files in it, the uses against the entries they came from. Reads every byte, and changes nothing.

use super::fetch::compare;
use super::{Cabinet, FileDigest, file_name};
use crate::error::Error;
use crate::flows::answers::audit::Finding;
use crate::ids::FleetId;
use crate::store::audit::Compared;
use crate::store::{Db, files};

/// Files looked at between two questions to the database.
const CHUNK: i64 = 200;

/// Looks at everything.
///
/// # Errors
/// Those of the database; [`Error::Unavailable`] when the store fails.
pub async fn whole(db: &Db, cabinet: &Cabinet, fleet: FleetId) -> Result<Vec<Finding>, Error> {
    let mut blobs = Finding {
        what: "files in the store have the digests they were kept under",
        compared: Compared { checked: 0, wrong: 0 },
        first: None,
    };
    let mut after = Vec::new();
    loop {
        let chunk = db.read(fleet, async |tx| files::list_after(tx, &after, CHUNK).await).await?;
        let Some(last) = chunk.last() else { break };
        after.clone_from(&last.sha256);
        for file in &chunk {
            blobs.compared.checked += 1;
            match compare(&cabinet.blobs, file_name(fleet, file), file).await {
                Ok(()) => {}
                Err(Error::Damaged { what }) => {
                    blobs.compared.wrong += 1;
                    blobs.first.get_or_insert(what);
                }
                // It was swept while we looked.
                Err(Error::NotFound) => {
                    blobs.compared.wrong += 1;
                    let digest = FileDigest::of_bytes(&file.sha256)?;
                    blobs.first.get_or_insert(format!("file {digest}: is gone"));
                }
                Err(other) => return Err(other),
            }
        }
    }
    let (right, (photos, unlike)) =
        db.read(fleet, async |tx| Ok((files::is_right(tx).await?, files::unlike_entries(tx).await?))).await?;
    let plain = |what, checked, wrong| Finding { what, compared: Compared { checked, wrong }, first: None };
    Ok(vec![
        blobs,
        plain("the room of files is that of the files kept and reserved", 1, i64::from(!right)),
        plain("the uses of files are those that entries name", photos, unlike),
    ])
}
