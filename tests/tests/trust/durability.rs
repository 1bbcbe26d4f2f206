//! The server refuses to start on a database that could lose what it acknowledged, or with keys
//! that are none.

use end_to_end::TestDb;
use end_to_end::binary::Serving;
use end_to_end::cluster::Cluster;
use std::time::Duration;

/// Starts a server that must give up, and answers with what it said.
fn refused(url: &str, settings: &[(&str, &str)]) -> String {
    let mut serving = Serving::start(url, settings);
    let said = serving.wait_until_ready().expect_err("a start that is refused");
    let (status, _) = serving.wait_for_end(Duration::from_secs(5)).expect("an end");
    assert!(!status.success());
    said
}

#[test]
fn a_database_that_could_lose_an_acknowledged_entry_is_refused_at_start() {
    let cluster = Cluster::own(&[]);
    let db = TestDb::fresh_on(&cluster);
    let url = db.server_url();
    Serving::start(&url, &[]).wait_until_ready().expect("a start on a durable database");
    let mut owner = db.as_owner();
    for (setting, wrong) in [("fsync", "off"), ("full_page_writes", "off"), ("synchronous_commit", "off")] {
        owner.batch_execute(&format!("alter system set {setting} = {wrong}")).expect("a setting");
        owner.batch_execute("select pg_reload_conf()").expect("a reload");
        wait_for(&db, setting, wrong);
        let said = refused(&url, &[]);
        assert!(said.contains(&format!("{setting} = {wrong}")), "{said}");
        owner.batch_execute(&format!("alter system reset {setting}")).expect("a setting");
        owner.batch_execute("select pg_reload_conf()").expect("a reload");
        wait_for(&db, setting, "on");
    }
    // A setting of the role alone is as bad.
    owner.batch_execute("alter role dropwise_server set synchronous_commit = local").expect("a setting");
    let said = refused(&url, &[]);
    assert!(said.contains("synchronous_commit = local"), "{said}");
}

#[test]
fn a_database_that_retries_failed_syncs_is_refused_at_start() {
    // After a failed fsync the kernel may have dropped the pages: trying again would succeed and lie.
    let cluster = Cluster::own(&["data_sync_retry=on"]);
    let db = TestDb::fresh_on(&cluster);
    let said = refused(&db.server_url(), &[]);
    assert!(said.contains("data_sync_retry = on"), "{said}");
}

/// A reload reaches each session in its own time; a fresh one has it.
fn wait_for(db: &TestDb, setting: &str, value: &str) {
    for _ in 0..200 {
        let found: String =
            db.as_server().query_one(&format!("show {setting}"), &[]).expect("a setting").get(0);
        if found == value {
            return;
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    panic!("{setting} never became {value}");
}

#[test]
fn keys_that_are_short_constant_or_no_keys_are_refused_at_start() {
    let cluster = Cluster::own(&[]);
    let db = TestDb::fresh_on(&cluster);
    for (file, bytes) in [
        ("refresh.key", b"secret".to_vec()),
        ("refresh.key", vec![0; 32]),
        ("refresh.key", b"secretsecretsecretsecretsecretse".to_vec()),
        ("refresh.key", vec![]),
        ("access-0001.der", b"secret".to_vec()),
        ("access-0001.der", vec![]),
    ] {
        let keys = tempfile::tempdir().expect("a folder");
        std::fs::write(keys.path().join(file), &bytes).expect("a bad key");
        let said = refused(&db.server_url(), &[("DROPWISE_KEYS_DIR", keys.path().to_str().expect("a path"))]);
        assert!(said.contains(file), "{said}");
        if bytes.len() > 5 {
            assert!(!said.contains("secret"), "a secret was said: {said}");
        }
    }
}
