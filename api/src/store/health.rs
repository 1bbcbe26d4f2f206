//! Whether the database answers, and has the tables this binary was built for.

use super::Db;
use crate::error::Error;
use diesel::sql_types::Bool;
use diesel_async::RunQueryDsl;

statement! {
    /// The newest table, seen by the server's role.
    struct Ready {} -> Bool
    = "select has_table_privilege('trail', 'select')"
}

/// Asks the database something small.
///
/// # Errors
/// [`Error::Unavailable`].
pub async fn check(db: &Db) -> Result<(), Error> {
    // One limit around the loan as well: a database that stands still must not hold the answer up.
    let ask = async {
        let mut conn = db.loan().await?;
        let ready: bool = Ready {}.get_result(&mut *conn).await?;
        Ok(ready)
    };
    match tokio::time::timeout(std::time::Duration::from_secs(2), ask).await {
        Ok(Ok(true)) => Ok(()),
        Ok(Ok(false)) => Err(Error::Unavailable { why: "the schema is not ready".into(), retry_after_s: 5 }),
        Ok(Err(error @ Error::Unavailable { .. })) => Err(error),
        Ok(Err(error)) => Err(Error::Unavailable { why: error.to_string(), retry_after_s: 2 }),
        Err(_) => Err(Error::Unavailable { why: "the database does not answer".into(), retry_after_s: 2 }),
    }
}
