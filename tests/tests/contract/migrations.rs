//! Each step can be taken back, and taken again.

use dropwise::store::migrate;
use end_to_end::TestDb;
use end_to_end::cluster::tools;
use end_to_end::db::on_runtime;
use std::path::Path;
use std::process::Command;

/// The schema as Postgres' own tool writes it down, privileges and policies included.
fn dump(db: &TestDb) -> String {
    let out = Command::new(tools().expect("Postgres' programs").join("pg_dump"))
        .args(["--schema-only", "--dbname", &db.owner_url()])
        .output()
        .expect("pg_dump");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    // Lines with a backslash carry a random word against injection.
    String::from_utf8_lossy(&out.stdout)
        .lines()
        .filter(|l| !l.starts_with('\\'))
        .collect::<Vec<_>>()
        .join("\n")
}

#[test]
fn up_down_up_leaves_the_same_schema_and_down_leaves_nothing() {
    let db = TestDb::fresh();
    let first = dump(&db);
    assert!(first.contains("CREATE TABLE public.cards") && first.contains("POLICY own_fleet"));
    on_runtime(migrate::down(&db.owner_url())).expect("the way back");
    let left: Vec<String> = db
        .as_owner()
        .query(
            "select relname::text from pg_class where relnamespace = 'public'::regnamespace
                and relname not like '\\_\\_diesel%'
                union all select proname::text from pg_proc where pronamespace = 'public'::regnamespace
                union all select typname::text from pg_type where typnamespace = 'public'::regnamespace
                and typname not like '%\\_\\_diesel%'",
            &[],
        )
        .expect("the catalog")
        .iter()
        .map(|row| row.get(0))
        .collect();
    assert_eq!(left, Vec::<String>::new());
    on_runtime(migrate::up(&db.owner_url())).expect("the way forth");
    let second = dump(&db);
    for (a, b) in first.lines().zip(second.lines()) {
        assert_eq!(a, b);
    }
    assert_eq!(first.len(), second.len());
}

#[test]
fn migrating_again_does_nothing_and_two_starters_take_turns() {
    let db = TestDb::empty();
    let url = db.owner_url();
    let steps = on_runtime(async {
        let both = [url.clone(), url.clone()].map(|url| tokio::spawn(async move { migrate::up(&url).await }));
        let mut steps = Vec::new();
        for one in both {
            steps.push(one.await.expect("no panic").expect("no error"));
        }
        steps
    });
    let folders = std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("../migrations"))
        .expect("migrations/")
        .filter(|e| e.as_ref().is_ok_and(|e| e.path().is_dir()))
        .count();
    assert_eq!(steps.iter().sum::<usize>(), folders, "{steps:?}");
    assert!(steps.contains(&0), "{steps:?}");
    assert_eq!(on_runtime(migrate::up(&url)).expect("once more"), 0);
}
