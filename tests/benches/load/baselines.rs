//! The same rows by Postgres' own means.

use end_to_end::{Client, TestDb};
use std::io::{Read, Write};
use std::time::{Duration, Instant};

/// The same entries written by COPY, in one transaction, into a table with the same columns and keys.
pub(crate) fn copy_of_entries(db: &TestDb, rows: usize) -> Duration {
    let mut owner = db.as_owner();
    owner
        .batch_execute(
            "drop table if exists copied;
             create table copied (like entries including defaults including indexes including constraints)",
        )
        .unwrap();
    let mut bytes = Vec::new();
    let out = format!("copy (select * from entries where kind = 'section_work' limit {rows}) to stdout");
    owner.copy_out(&out).unwrap().read_to_end(&mut bytes).unwrap();
    let start = Instant::now();
    let mut transaction = owner.transaction().unwrap();
    let mut writer = transaction.copy_in("copy copied from stdin").unwrap();
    writer.write_all(&bytes).unwrap();
    assert_eq!(writer.finish().unwrap(), rows as u64);
    transaction.commit().unwrap();
    let took = start.elapsed();
    owner.batch_execute("drop table copied").unwrap();
    took
}

/// The whole trail in pages of 500.
pub(crate) fn read_trail(owner: &Client) -> (usize, Duration) {
    let (mut rows, mut after) = (0, String::new());
    let start = Instant::now();
    loop {
        let page = owner.get(&format!("/v1/device/trail?room=500{after}")).expect(200).json();
        rows += page["rows"].as_array().unwrap().len();
        if page["more"] == false {
            return (rows, start.elapsed());
        }
        after = format!("&after={}", page["bookmark"].as_str().unwrap());
    }
}

/// The same trail printed by psql.
pub(crate) fn psql_of_trail(db: &TestDb) -> (usize, Duration) {
    let psql = end_to_end::cluster::tools().expect("the tools").join("psql");
    let sql = "select record_id, kind, position, turn, body from trail order by position";
    let start = Instant::now();
    let out =
        std::process::Command::new(psql).args(["-XAtq", "-c", sql, &db.owner_url()]).output().expect("psql");
    let took = start.elapsed();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    (out.stdout.iter().filter(|byte| **byte == b'\n').count(), took)
}
