//! Two simulated months through the flows: the books hold, and the estimates keep what they promise
//! about a truth only the simulation knows.

use chrono::NaiveDate;
use dropwise::auth::password::Hasher;
use dropwise::config::HashingConfig;
use dropwise::demo::{self, Options, Outcome};
use dropwise::flows::answers::audit::{self, Finding};
use dropwise::store::Db;
use end_to_end::TestDb;

fn fill(url: &str, options: Options) -> Option<(Outcome, Vec<Finding>)> {
    actix_web::rt::System::new().block_on(async {
        let db = Db::open(url, 1).expect("a pool");
        let hasher = Hasher::new(HashingConfig::default(), 1).expect("a hasher");
        let outcome = demo::fill(&db, &hasher, options, |_| ()).await.expect("a simulated year")?;
        let findings =
            db.read_long(outcome.fleet, async |tx| audit::whole(tx).await).await.expect("an audit");
        Some((outcome, findings))
    })
}

#[test]
fn two_months_of_a_fleet_keep_the_books_and_the_promises_of_the_estimates() {
    let db = TestDb::fresh();
    let ends_on = NaiveDate::from_ymd_opt(2026, 11, 24).expect("a date");
    let options = Options { days: 60, seed: 1, ends_on };
    let (outcome, findings) = fill(&db.server_url(), options).expect("a fresh fleet");

    let tally = &outcome.tally;
    assert!(tally.all_taken() > 5_000, "{:?}", tally.taken);
    assert_eq!(tally.surprises, Vec::<String>::new(), "entries that fared otherwise than meant");
    assert!(tally.all_refused() > 0 && tally.all_refused() < tally.all_taken() / 100, "{:?}", tally.refused);

    // I2, I3, I7: see `dropwise audit`.
    assert!(!findings.is_empty());
    for finding in &findings {
        assert!(finding.compared.checked > 0, "nothing to compare: {}", finding.what);
        assert_eq!(finding.compared.wrong, 0, "{}: first {:?}", finding.what, finding.first);
    }

    // Levels are shown with 90 % intervals. Looks at one bottle hang together, so the count of looks
    // overstates what they tell: the bounds are those a fleet would still call honest.
    let looks = outcome.scores.before_weigh_in.with(&outcome.scores.random_days);
    let coverage = looks.coverage().expect("looks at bottles");
    assert!(looks.looks > 200, "{looks:?}");
    assert!(
        (0.80..=0.97).contains(&coverage),
        "{:.1} % of truths in their interval: {looks:?}",
        100.0 * coverage
    );

    let again = fill(&db.server_url(), options);
    assert!(again.is_none(), "a second filling changes nothing");
}
