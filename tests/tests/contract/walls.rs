//! The walls between fleets, as the database's own catalog describes them.
//!
//! Row security, what owner and role are, search paths of definer functions: Postgres manual 5.9,
//! 21, CREATE FUNCTION ("Writing SECURITY DEFINER Functions Safely"), CREATE VIEW.

use end_to_end::TestDb;
use postgres::Client;

/// What is not the application's: the migration tool's own table.
const NOT_OURS: &str = "c.relname <> '__diesel_schema_migrations'";
/// The one policy every fleet table has, as Postgres prints it.
const OWN_FLEET: &str = "(fleet_id = (NULLIF(current_setting('app.fleet'::text, true), ''::text))::uuid)";
/// Unique indexes without the fleet: what a person types before the fleet is known. May only shrink.
const UNIQUE_ACROSS_FLEETS: [&str; 1] = ["fleets_by_handle"];
/// Policies beside `own_fleet`: (table, name, whom it lets in). May only shrink.
const OTHER_POLICIES: [(&str, &str); 1] = [("fleets", "door")];
/// Functions that run as the owner. May only shrink. How far a standby has got is one number, and only the
/// owner may see it in the statistics.
const DEFINER_FUNCTIONS: [&str; 2] = ["fleet_of_handle", "standby_replay_lsn"];

fn lines(db: &mut Client, sql: &str) -> Vec<String> {
    db.query(sql, &[]).expect("a catalog query").iter().map(|row| row.get::<_, String>(0)).collect()
}

/// Tables that are not wholly behind the wall.
fn bare_tables(db: &mut Client) -> Vec<String> {
    lines(
        db,
        &format!(
            "select c.relname::text from pg_class c join pg_namespace n on n.oid = c.relnamespace
             where n.nspname = 'public' and c.relkind in ('r', 'p', 'f') and {NOT_OURS}
               and not (c.relrowsecurity and c.relforcerowsecurity
                        and exists (select from pg_attribute a where a.attrelid = c.oid and a.attname = 'fleet_id'
                                    and a.attnum = 1 and a.attnotnull)
                        and exists (select from pg_policies p where p.tablename = c.relname
                                    and p.policyname = 'own_fleet' and p.cmd = 'ALL' and p.permissive = 'PERMISSIVE'
                                    and p.roles = '{{public}}' and p.with_check is null
                                    and p.qual = $q${OWN_FLEET}$q$))
             order by 1"
        ),
    )
}

#[test]
fn every_table_stands_behind_the_wall_and_a_bare_one_is_noticed() {
    let db = TestDb::fresh();
    let mut owner = db.as_owner();
    assert_eq!(bare_tables(&mut owner), Vec::<String>::new());
    // The same question must see what it is for.
    for (planted, mend) in [
        ("create table planted (fleet_id uuid not null, x int)", "drop table planted"),
        ("alter table cards no force row level security", "alter table cards force row level security"),
        ("alter table trail disable row level security", "alter table trail enable row level security"),
        ("alter policy own_fleet on jobs using (true)", ""),
    ] {
        owner.batch_execute(planted).expect("a planted fault");
        assert_eq!(bare_tables(&mut owner).len(), 1, "not noticed: {planted}");
        owner.batch_execute(mend).expect("a mended fault");
    }
}

#[test]
fn the_servers_role_owns_nothing_and_passes_no_wall() {
    let db = TestDb::fresh();
    let mut owner = db.as_owner();
    let powers = lines(
        &mut owner,
        "select rolname::text from pg_roles where rolname = 'dropwise_server'
         and (rolsuper or rolbypassrls or rolcreatedb or rolcreaterole or rolreplication)
         union all select 'member of ' || roleid::regrole::text from pg_auth_members
         where member = 'dropwise_server'::regrole",
    );
    assert_eq!(powers, Vec::<String>::new());
    let owned = lines(
        &mut owner,
        "select relname::text from pg_class where relowner = 'dropwise_server'::regrole
         union all select proname::text from pg_proc where proowner = 'dropwise_server'::regrole
         union all select nspname::text from pg_namespace where nspowner = 'dropwise_server'::regrole
         union all select datname::text from pg_database where datdba = 'dropwise_server'::regrole
         union all select typname::text from pg_type where typowner = 'dropwise_server'::regrole",
    );
    assert_eq!(owned, Vec::<String>::new());
    let granted = lines(
        &mut owner,
        "select c.relname || ': ' || p from pg_class c, unnest(array['TRUNCATE', 'REFERENCES', 'TRIGGER']) p
         where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p', 'v')
           and has_table_privilege('dropwise_server', c.oid, p)
         union all select 'create in the schema' where has_schema_privilege('dropwise_server', 'public', 'CREATE')
         union all select 'create in the database'
         where has_database_privilege('dropwise_server', current_database(), 'CREATE')
         union all select 'migrations: ' || p from unnest(array['INSERT', 'UPDATE', 'DELETE']) p
         where has_table_privilege('dropwise_server', '__diesel_schema_migrations', p)",
    );
    assert_eq!(granted, Vec::<String>::new());
}

#[test]
fn the_servers_role_cannot_change_the_schema_or_empty_a_table() {
    let db = TestDb::fresh();
    let mut server = db.as_server();
    for sql in [
        "create table mine (x int)",
        "create schema mine",
        "alter table cards disable row level security",
        "alter table cards add column x int",
        "drop table cards",
        "truncate cards",
        "drop policy own_fleet on cards",
        "create policy open on cards using (true)",
        "alter role dropwise_server bypassrls",
        "create function public.f() returns int language sql as 'select 1'",
        "create extension hstore",
        "set role pg_read_all_data",
    ] {
        let refused = server.batch_execute(sql).expect_err(sql);
        let code = refused.code().map(|c| c.code().to_owned()).unwrap_or_default();
        assert!(["42501", "0A000"].contains(&code.as_str()), "{sql}: {refused}");
    }
}

#[test]
fn lines_of_the_books_are_never_changed_by_the_servers_role() {
    let db = TestDb::fresh();
    let mut owner = db.as_owner();
    let changeable = lines(
        &mut owner,
        "select t || ': ' || p from unnest(array['stock_lines', 'cost_lines', 'pad_lines', 'security_notes',
                                                 'container_marks', 'pay_rates']) t,
                                    unnest(array['UPDATE', 'DELETE']) p
         where has_table_privilege('dropwise_server', t, p)
         union all select 'entries: DELETE' where has_table_privilege('dropwise_server', 'entries', 'DELETE')
         union all select 'entries.' || attname from pg_attribute
         where attrelid = 'entries'::regclass and attnum > 0 and not attisdropped
           and attname not in ('reversed_by', 'verdict', 'code', 'sentence', 'basis', 'answer',
                               'booked_turn', 'booked_line', 'decided_by', 'decided_at')
           and has_column_privilege('dropwise_server', 'entries', attname, 'UPDATE')",
    );
    assert_eq!(changeable, Vec::<String>::new());
}

#[test]
fn views_ask_as_whoever_reads_them_and_definer_functions_are_few_and_closed() {
    let db = TestDb::fresh();
    let mut owner = db.as_owner();
    let views = "select c.relname::text from pg_class c where c.relnamespace = 'public'::regnamespace
                 and (c.relkind = 'm' or (c.relkind = 'v'
                      and not coalesce(c.reloptions @> array['security_invoker=true'], false)))";
    assert_eq!(lines(&mut owner, views), Vec::<String>::new());
    owner.batch_execute("create view planted as select * from cards").expect("a planted view");
    assert_eq!(lines(&mut owner, views), ["planted"]);
    let definers = lines(
        &mut owner,
        "select proname::text from pg_proc where pronamespace = 'public'::regnamespace and prosecdef order by 1",
    );
    assert_eq!(definers, DEFINER_FUNCTIONS);
    let open = lines(
        &mut owner,
        "select proname::text from pg_proc p where pronamespace = 'public'::regnamespace and prosecdef
         and (not exists (select from unnest(proconfig) s where s ~ '^search_path=.*pg_temp\"?$')
              or exists (select from aclexplode(coalesce(proacl, acldefault('f', proowner))) a where a.grantee = 0))",
    );
    assert_eq!(open, Vec::<String>::new());
}

#[test]
fn every_unique_key_and_every_reference_names_the_fleet() {
    let db = TestDb::fresh();
    let mut owner = db.as_owner();
    let unique = "select i.indexrelid::regclass::text from pg_index i join pg_class c on c.oid = i.indrelid
                  where c.relnamespace = 'public'::regnamespace and i.indisunique and c.relname <> '__diesel_schema_migrations'
                    and not exists (select from pg_attribute a where a.attrelid = c.oid
                                    and a.attnum = i.indkey[0] and a.attname = 'fleet_id') order by 1";
    assert_eq!(lines(&mut owner, unique), UNIQUE_ACROSS_FLEETS);
    let references = "select conrelid::regclass || '.' || conname from pg_constraint k
                      where k.contype = 'f' and k.connamespace = 'public'::regnamespace
                        and not exists (
                            select from unnest(k.conkey, k.confkey) as pair(here, there)
                            join pg_attribute a on a.attrelid = k.conrelid and a.attnum = pair.here
                            join pg_attribute b on b.attrelid = k.confrelid and b.attnum = pair.there
                            where a.attname = 'fleet_id' and b.attname = 'fleet_id') order by 1";
    assert_eq!(lines(&mut owner, references), Vec::<String>::new());
    owner
        .batch_execute(
            "alter table cards add unique (card_id);
             create table planted (fleet_id uuid not null, card_id uuid references cards (card_id))",
        )
        .expect("planted faults");
    assert_eq!(lines(&mut owner, unique).len(), 2);
    assert_eq!(lines(&mut owner, references), ["planted.planted_card_id_fkey"]);
}

#[test]
fn policies_look_nothing_up() {
    // A sub-select in a policy races with its own subject at READ COMMITTED (manual 5.9).
    let db = TestDb::fresh();
    let mut owner = db.as_owner();
    let policies = owner
        .query(
            "select tablename::text, policyname::text, coalesce(qual, ''), coalesce(with_check, ''),
                roles::text[] from pg_policies where schemaname = 'public'",
            &[],
        )
        .expect("policies");
    assert!(policies.len() > 20);
    for policy in policies {
        let (table, name): (&str, &str) = (policy.get(0), policy.get(1));
        let text = format!("{} {}", policy.get::<_, &str>(2), policy.get::<_, &str>(3)).to_lowercase();
        assert!(!text.contains("select"), "{table}.{name}: {text}");
        if name != "own_fleet" {
            assert!(OTHER_POLICIES.contains(&(table, name)), "a policy nobody knows: {table}.{name}");
            let roles: Vec<String> = policy.get(4);
            assert!(!roles.iter().any(|role| role == "public" || role == "dropwise_server"), "{roles:?}");
        }
    }
}
