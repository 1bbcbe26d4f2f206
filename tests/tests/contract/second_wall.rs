//! The second wall alone: with no filter of the application in the way, raw SQL of the server's role
//! still sees and changes only the fleet that is set.

use end_to_end::TestDb;
use postgres::{Client, Transaction};
use uuid::Uuid;

/// Every table with a row of each of two fleets in it.
struct Planted {
    db: TestDb,
    tables: Vec<String>,
    ours: Uuid,
    theirs: Uuid,
}

/// Fills every table generically. Checks and references are not what is tried here, so they are
/// taken away first; row security stays.
fn planted() -> Planted {
    let db = TestDb::fresh();
    let mut owner = db.as_owner();
    let tables: Vec<String> = owner
        .query(
            "select relname::text from pg_class where relnamespace = 'public'::regnamespace
                and relkind in ('r', 'p') and relname <> '__diesel_schema_migrations' order by 1",
            &[],
        )
        .expect("tables")
        .iter()
        .map(|row| row.get(0))
        .collect();
    assert!(tables.len() >= 20);
    let checks = owner
        .query("select format('alter table %s drop constraint %I', conrelid::regclass, conname) from pg_constraint
                where connamespace = 'public'::regnamespace and contype = 'c'", &[])
        .expect("checks");
    for check in checks {
        owner.batch_execute(check.get(0)).expect("a check dropped");
    }
    owner.batch_execute("set session_replication_role = replica").expect("references off");
    let (ours, theirs) = (Uuid::new_v4(), Uuid::new_v4());
    for table in &tables {
        for fleet in [ours, theirs] {
            plant(&mut owner, table, fleet);
        }
    }
    Planted { db, tables, ours, theirs }
}

fn plant(owner: &mut Client, table: &str, fleet: Uuid) {
    let columns = owner
        .query("select column_name::text, udt_name::text from information_schema.columns
                where table_schema = 'public' and table_name = $1 and is_nullable = 'NO' and is_generated = 'NEVER'
                and is_identity = 'NO' order by ordinal_position", &[&table])
        .expect("columns");
    let (mut names, mut values) = (Vec::new(), Vec::new());
    for column in columns {
        let (name, kind): (String, String) = (column.get(0), column.get(1));
        let value = match (name.as_str(), kind.as_str()) {
            ("fleet_id", _) => format!("'{fleet}'"),
            (_, "uuid") => format!("'{}'", Uuid::new_v4()),
            (_, "text" | "varchar") => format!("'{}'", Uuid::new_v4().simple()),
            (_, "timestamptz") => "now()".to_owned(),
            (_, "date") => "current_date".to_owned(),
            (_, "json" | "jsonb") => "'{}'".to_owned(),
            (_, "bytea") => "'\\x00'".to_owned(),
            (_, "bool") => "false".to_owned(),
            (_, "int2" | "int4" | "int8" | "numeric" | "float8") => "1".to_owned(),
            (_, array) if array.starts_with('_') => "'{}'".to_owned(),
            (_, other) => panic!("{table}.{name}: say here how to plant a {other}"),
        };
        names.push(name);
        values.push(value);
    }
    let sql = format!("insert into {table} ({}) values ({})", names.join(", "), values.join(", "));
    owner.batch_execute(&sql).unwrap_or_else(|error| panic!("{sql}: {error}"));
}

/// How many rows of which fleet a transaction sees in a table.
fn seen(tx: &mut Transaction<'_>, table: &str, fleet: Uuid) -> i64 {
    tx.query_one(&format!("select count(*) from {table} where fleet_id = $1"), &[&fleet])
        .expect("a count")
        .get(0)
}

fn bind(tx: &mut Transaction<'_>, fleet: Uuid) {
    tx.execute("select set_config('app.fleet', $1, true)", &[&fleet.to_string()]).expect("a fleet");
}

#[test]
fn without_any_filter_only_the_fleet_that_is_set_is_seen() {
    let planted = planted();
    let mut server = planted.db.as_server();
    for table in &planted.tables {
        let mut tx = server.transaction().expect("a transaction");
        bind(&mut tx, planted.ours);
        assert_eq!(seen(&mut tx, table, planted.ours), 1, "{table}: its own row is not seen");
        assert_eq!(seen(&mut tx, table, planted.theirs), 0, "{table}: another fleet's row is seen");
        tx.rollback().expect("an end");
    }
}

#[test]
fn without_a_fleet_nothing_is_seen_and_nothing_fails() {
    let planted = planted();
    let mut server = planted.db.as_server();
    for table in &planted.tables {
        let count = |server: &mut Client| -> i64 {
            server.query_one(&format!("select count(*) from {table}"), &[]).expect("no error").get(0)
        };
        assert_eq!(count(&mut server), 0, "{table}");
        // After a transaction the setting is '' and no longer null: still nobody's.
        let mut tx = server.transaction().expect("a transaction");
        bind(&mut tx, planted.ours);
        tx.commit().expect("an end");
        assert_eq!(count(&mut server), 0, "{table}: the fleet outlived its transaction");
    }
}

#[test]
fn without_any_filter_no_row_of_another_fleet_is_changed_or_made() {
    let planted = planted();
    let mut owner = planted.db.as_owner();
    let mut server = planted.db.as_server();
    let mut tried = 0;
    for table in &planted.tables {
        // A column the role may write; entries let only some be changed.
        let writable: Option<String> = owner
            .query_opt(
                "select column_name::text from information_schema.column_privileges
                        where table_schema = 'public' and table_name = $1 and grantee = 'dropwise_server'
                          and privilege_type = 'UPDATE' and column_name <> 'fleet_id' order by 1 limit 1",
                &[table],
            )
            .expect("privileges")
            .map(|row| row.get(0));
        let mut attempts = Vec::new();
        if let Some(column) = writable {
            attempts.push(format!(
                "update {table} set {column} = {column} where fleet_id = '{}'",
                planted.theirs
            ));
            attempts
                .push(format!("update {table} set {column} = {column} where fleet_id <> '{}'", planted.ours));
        }
        attempts.push(format!("delete from {table} where fleet_id = '{}'", planted.theirs));
        for sql in attempts {
            let mut tx = server.transaction().expect("a transaction");
            bind(&mut tx, planted.ours);
            match tx.execute(&sql, &[]) {
                Ok(changed) => assert_eq!(changed, 0, "{sql}"),
                Err(refused) => {
                    assert_eq!(refused.code().map(postgres::error::SqlState::code), Some("42501"), "{sql}")
                }
            }
            tried += 1;
        }
        // Copies of its own row under the other's name are refused by the policy, not by luck.
        let mut tx = server.transaction().expect("a transaction");
        bind(&mut tx, planted.ours);
        let columns: Vec<String> = owner
            .query(
                "select case when column_name = 'fleet_id' then $2 else quote_ident(column_name) end
                    from information_schema.columns where table_schema = 'public' and table_name = $1
                    order by ordinal_position",
                &[table, &format!("'{}'::uuid", planted.theirs)],
            )
            .expect("columns")
            .iter()
            .map(|row| row.get(0))
            .collect();
        let sql = format!("insert into {table} select {} from {table}", columns.join(", "));
        let refused = tx.execute(&sql, &[]).expect_err(&sql);
        assert_eq!(refused.code().map(postgres::error::SqlState::code), Some("42501"), "{sql}: {refused}");
    }
    assert!(tried > 40, "only {tried} attempts");
}

#[test]
fn with_the_wall_taken_down_the_same_questions_do_see_the_other_fleet() {
    // Without this the tests above might be blind.
    let planted = planted();
    let mut owner = planted.db.as_owner();
    let mut server = planted.db.as_server();
    for table in &planted.tables {
        owner
            .batch_execute(&format!("alter table {table} disable row level security"))
            .expect("the wall down");
        let mut tx = server.transaction().expect("a transaction");
        bind(&mut tx, planted.ours);
        assert_eq!(seen(&mut tx, table, planted.theirs), 1, "{table}");
    }
}

#[test]
fn a_reference_into_another_fleet_is_refused() {
    let db = TestDb::fresh();
    let (ours, theirs, member) = (Uuid::new_v4(), Uuid::new_v4(), Uuid::new_v4());
    let mut owner = db.as_owner();
    for (fleet, handle) in [(ours, "ours"), (theirs, "theirs")] {
        owner.execute("insert into fleets values ($1, $2, now())", &[&fleet, &handle]).expect("a fleet");
    }
    owner
        .execute(
            "insert into members (fleet_id, member_id, handle, name, role, created_at, created_digest)
                  values ($1, $2, 'owner', 'Their owner', 'owner', now(), '')",
            &[&theirs, &member],
        )
        .expect("their member");
    let mut server = db.as_server();
    let mut tx = server.transaction().expect("a transaction");
    bind(&mut tx, ours);
    let refused = tx
        .execute(
            "insert into passwords (fleet_id, member_id, phc, changed_at) values ($1, $2, 'x', now())",
            &[&ours, &member],
        )
        .expect_err("a password of our fleet for their member");
    assert_eq!(refused.code().map(postgres::error::SqlState::code), Some("23503"));
}
