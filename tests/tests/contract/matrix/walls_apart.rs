//! Each wall between fleets holds alone (T22): the whole matrix with the application's filters gone,
//! with the database's policies off, and, to show that it would notice, with both.

use super::roles::run;
use super::stage::Stage;
use end_to_end::TestDb;
use end_to_end::unfiltered::Unfiltered;

/// Takes row security off every table.
fn take_policies_down(db: &TestDb) {
    db.as_owner()
        .batch_execute(
            "do $$ declare named text; begin
                 for named in select relname from pg_class
                     where relnamespace = 'public'::regnamespace and relrowsecurity
                 loop execute format('alter table %I disable row level security', named); end loop;
             end $$",
        )
        .expect("policies off");
    let open = "select count(*) from pg_class where relnamespace = 'public'::regnamespace and relrowsecurity";
    assert_eq!(db.as_owner().query_one(open, &[]).expect("a count").get::<_, i64>(0), 0);
}

/// A stage whose server lost every filter on the fleet.
fn without_filters() -> (Stage, Unfiltered) {
    let stage = Stage::set();
    let way = Unfiltered::to(&stage.world.db);
    let stage = stage.tried_by(way.server_url());
    (stage, way)
}

#[test]
fn with_every_filter_of_the_application_gone_the_policies_alone_keep_fleets_apart() {
    let (stage, way) = without_filters();
    run(&stage).expect_clean();
    // What speaks of fleets and kept its text only writes rows, or asks for no fleet by name.
    for text in way.kept() {
        assert!(
            text.trim_start().to_lowercase().starts_with("insert into"),
            "a filter that was not taken out: {text}"
        );
    }
    assert!(way.bared().len() > 50, "only {} statements lost a filter", way.bared().len());
}

#[test]
fn with_every_policy_off_the_filters_of_the_application_alone_keep_fleets_apart() {
    let stage = Stage::set();
    take_policies_down(&stage.world.db);
    run(&stage).expect_clean();
}

#[test]
fn with_both_walls_down_the_matrix_notices() {
    let (stage, _way) = without_filters();
    take_policies_down(&stage.world.db);
    let found = run(&stage);
    let seen = |rule: &str, operation: &str| {
        found.faults.iter().any(|fault| fault.starts_with(&format!("{rule}: {operation} as ")))
    };
    println!("{} faults were noticed", found.faults.len());
    for list in ["list_cards", "list_members", "list_devices", "read_month"] {
        assert!(seen("told of another fleet", list), "{list} was not noticed: {:#?}", found.faults);
    }
    for record in ["read_card", "read_member", "read_entry", "edit_card", "retire_member"] {
        assert!(
            seen("another fleet's is told from nobody's", record),
            "{record} was not noticed: {:#?}",
            found.faults
        );
    }
}
