//! `api/src/store/schema.rs` says what the database says: tables, keys, columns in order, types.

use end_to_end::TestDb;
use std::collections::BTreeMap;
use std::path::Path;

/// A table's key columns and its columns with their types.
#[derive(Debug, PartialEq, Eq, Default)]
struct Table {
    key: Vec<String>,
    columns: Vec<(String, String)>,
}

/// Reads the `table!` blocks as they are written; the macro's grammar is small.
fn written() -> BTreeMap<String, Table> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../api/src/store/schema.rs");
    let source = std::fs::read_to_string(path).expect("schema.rs");
    let mut tables = BTreeMap::new();
    for block in source.split("table! {").skip(1) {
        let (head, rest) = block.split_once('{').expect("a table's body");
        let (name, key) = head.split_once('(').expect("a key");
        let key = key.trim().trim_end_matches(')').split(',').map(|k| k.trim().to_owned()).collect();
        let body = rest.split_once('}').expect("the body's end").0;
        let columns = body
            .split(',')
            .map(|line| line.lines().map(str::trim).filter(|l| !l.starts_with("//")).collect::<String>())
            .filter(|line| !line.is_empty())
            .map(|line| {
                let (column, kind) = line.split_once("->").unwrap_or_else(|| panic!("{name}: {line}"));
                (column.trim().to_owned(), kind.trim().to_owned())
            })
            .collect();
        tables.insert(name.trim().to_owned(), Table { key, columns });
    }
    tables
}

fn in_the_database() -> BTreeMap<String, Table> {
    let db = TestDb::fresh();
    let mut owner = db.as_owner();
    let mut tables: BTreeMap<String, Table> = BTreeMap::new();
    let columns = owner
        .query(
            "select table_name::text, column_name::text, udt_name::text, is_nullable = 'YES'
                from information_schema.columns where table_schema = 'public'
                and table_name <> '__diesel_schema_migrations' order by table_name, ordinal_position",
            &[],
        )
        .expect("columns");
    for row in columns {
        let (table, column, kind, nullable): (String, String, String, bool) =
            (row.get(0), row.get(1), row.get(2), row.get(3));
        let kind = diesel_type(&table, &column, &kind);
        let kind = if nullable { format!("Nullable<{kind}>") } else { kind };
        tables.entry(table).or_default().columns.push((column, kind));
    }
    let keys = owner
        .query(
            "select i.indrelid::regclass::text, a.attname::text from pg_index i,
                unnest(i.indkey) with ordinality as k(n, place), pg_attribute a
                where i.indisprimary and i.indrelid::regclass::text = any($1)
                and a.attrelid = i.indrelid and a.attnum = k.n order by 1, k.place",
            &[&tables.keys().cloned().collect::<Vec<_>>()],
        )
        .expect("keys");
    for row in keys {
        let (table, column): (String, String) = (row.get(0), row.get(1));
        tables.get_mut(&table).expect("a table with a key").key.push(column);
    }
    tables
}

fn diesel_type(table: &str, column: &str, kind: &str) -> String {
    if let Some(element) = kind.strip_prefix('_') {
        return format!("Array<{}>", diesel_type(table, column, element));
    }
    match kind {
        "uuid" => "Uuid",
        "text" => "Text",
        "timestamptz" => "Timestamptz",
        "date" => "Date",
        "json" => "Json",
        "jsonb" => "Jsonb",
        "bytea" => "Bytea",
        "bool" => "Bool",
        "int2" => "SmallInt",
        "int4" => "Integer",
        "int8" => "BigInt",
        "numeric" => "Numeric",
        "float8" => "Double",
        other => panic!("{table}.{column}: say here what diesel calls {other}"),
    }
    .to_owned()
}

#[test]
fn the_written_schema_is_the_one_in_the_database() {
    let (written, found) = (written(), in_the_database());
    let names = |tables: &BTreeMap<String, Table>| tables.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&written), names(&found), "tables");
    for (name, table) in &found {
        assert_eq!(&written[name], table, "{name}");
    }
}

#[test]
fn money_is_never_a_float_and_times_carry_their_zone() {
    for (name, table) in in_the_database() {
        for (column, kind) in table.columns {
            let kind = kind.trim_start_matches("Nullable<").trim_end_matches('>');
            if column.ends_with("_amount") || column == "amount" || column.ends_with("_share") {
                assert_eq!(kind, "Numeric", "{name}.{column}");
            }
            if column.ends_with("_at") {
                assert_eq!(kind, "Timestamptz", "{name}.{column}");
            }
            if column.ends_with("_on") || column == "month" {
                assert_eq!(kind, "Date", "{name}.{column}");
            }
            if column.ends_with("_id") {
                assert_eq!(kind, "Uuid", "{name}.{column}");
            }
        }
    }
}
