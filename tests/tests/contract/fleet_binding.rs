//! A borrowed connection never remembers whose it was: thousands of transactions of three fleets
//! over a pool of one, ended in every way a transaction can end.

use chrono::Utc;
use dropwise::error::Error;
use dropwise::ids::{FleetId, MemberId, fresh};
use dropwise::store::{Db, accounts, trail};
use end_to_end::World;
use std::collections::HashMap;

/// Enough to meet every pair of fleets and endings many times.
const TRANSACTIONS: usize = 10_000;

#[test]
fn ten_thousand_transactions_over_one_connection_stay_in_their_fleet() {
    let world = World::new();
    let fleets = ["amber", "birch", "cedar"].map(|handle| world.fleet(handle));
    let people: HashMap<FleetId, Vec<MemberId>> = fleets
        .iter()
        .map(|f| {
            let mut ids = vec![f.owner.id, f.office.id, f.technician.id];
            ids.sort();
            (f.id, ids)
        })
        .collect();
    let url = world.db.server_url();
    let (mut told, mut failed, mut dropped, mut unset) = (0, 0, 0, 0);
    actix_web::rt::System::new().block_on(async {
        let db = Db::open(&url, 1).expect("a pool of one");
        // A fixed sequence (linear congruence, Knuth's MMIX constants): a failure can be had again.
        let mut state: u64 = 2026;
        for _ in 0..TRANSACTIONS {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let pick = usize::try_from(state >> 33).expect("31 bits");
            let fleet = fleets[pick % 3].id;
            match pick / 3 % 10 {
                0 => {
                    let spoilt: Result<(), Error> = db
                        .write("spoilt", fleet, async move |tx| {
                            let gone = accounts::find_member(tx, MemberId(fresh())).await;
                            assert!(matches!(gone, Err(Error::NotFound)));
                            // A second fleet of the same id: the database itself ends this transaction.
                            accounts::insert_fleet(tx, "again", Utc::now()).await
                        })
                        .await;
                    assert!(matches!(spoilt, Err(Error::Duplicate(_))), "{spoilt:?}");
                    failed += 1;
                }
                1 => {
                    // The one who asked goes away before the answer.
                    let asked = db.read(fleet, async |tx| accounts::list_members(tx, None, 100).await);
                    let gone = tokio::time::timeout(std::time::Duration::from_micros(200), asked).await;
                    dropped += usize::from(gone.is_err());
                }
                2 => {
                    // The one question outside any fleet, on whatever the last borrower left behind.
                    let found = trail::fleet_of_handle(&db, "birch").await.expect("an answer");
                    assert_eq!(found, Some(fleets[1].id));
                    unset += 1;
                }
                _ => {
                    let rows = db.read(fleet, async |tx| accounts::list_members(tx, None, 100).await).await;
                    let mut ids: Vec<MemberId> = rows.expect("members").iter().map(|m| m.member_id).collect();
                    ids.sort();
                    assert_eq!(ids, people[&fleet]);
                    told += 1;
                }
            }
        }
    });
    assert!(
        told > 5_000 && failed > 500 && dropped > 100 && unset > 500,
        "{told} {failed} {dropped} {unset}"
    );
    let left: i64 = world
        .db
        .as_owner()
        .query_one("select count(*) from pg_stat_activity where datname = current_database() and state like 'idle in%'", &[])
        .expect("activity")
        .get(0);
    assert_eq!(left, 0, "a transaction was left open");
}
