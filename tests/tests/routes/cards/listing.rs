//! Lists: bounded pages in id order, and jobs by the fleet's own days.

use end_to_end::World;
use end_to_end::cards::{Cards, create};
use serde_json::json;
use uuid::Uuid;

#[test]
fn pages_are_bounded_in_order_and_without_gaps_or_repeats() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    let _others = Cards::create(&world.fleet("pier").as_office());
    let mut made: Vec<Uuid> =
        (0..23).map(|n| create(&office, "client", &json!({"name": format!("C {n}")}))).collect();
    made.sort_unstable();
    for room in [1, 5, 22, 23, 24] {
        let (mut seen, mut after) = (Vec::new(), None::<String>);
        loop {
            let from = after.map_or_else(String::new, |id| format!("&after={id}"));
            let page = office.get(&format!("/v1/cards?kind=client&room={room}{from}")).expect(200).json();
            let rows = page["rows"].as_array().unwrap();
            assert!(rows.len() <= room);
            seen.extend(rows.iter().map(|card| card["id"].as_str().unwrap().parse::<Uuid>().unwrap()));
            match page["next"].as_str() {
                Some(next) => after = Some(next.to_owned()),
                None => break,
            }
        }
        assert_eq!(seen, made, "{room} at a time");
    }
    let all = office.get("/v1/cards?kind=client&room=100000").expect(200).json();
    assert_eq!(all["rows"].as_array().unwrap().len(), 23);
}

#[test]
fn jobs_are_listed_by_van_and_by_days_of_the_fleets_calendar() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    let cards = Cards::create(&office);
    let job = |place: Uuid, starts_at: &str, ends_at: &str| {
        create(
            &office,
            "job",
            &json!({"place_id": place, "client_id": cards.client, "vehicle_id": cards.vehicle, "crew": [],
                    "starts_at": starts_at, "ends_at": ends_at, "service_ids": [], "state": "booked"}),
        )
    };
    // Denver keeps UTC−7 until 8 March 2026, 02:00, then UTC−6 (IANA tz database).
    let late = job(cards.van, "2026-03-08T06:59:59Z", "2026-03-08T08:00:00Z");
    let early = job(cards.van, "2026-03-08T07:00:00Z", "2026-03-08T08:00:00Z");
    let night = job(cards.other_van, "2026-03-09T05:59:59Z", "2026-03-09T08:00:00Z");
    let next = job(cards.other_van, "2026-03-09T06:00:00Z", "2026-03-09T08:00:00Z");
    let listed = |query: &str| {
        let page = office.get(&format!("/v1/cards?kind=job{query}")).expect(200).json();
        let mut ids: Vec<Uuid> = page["rows"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| c["id"].as_str().unwrap().parse().unwrap())
            .collect();
        ids.sort_unstable();
        ids
    };
    assert_eq!(listed("&from=2026-03-07&to=2026-03-07"), [late]);
    assert_eq!(listed("&from=2026-03-08&to=2026-03-08"), [early, night]);
    assert_eq!(listed("&from=2026-03-09&to=2026-03-09"), [next]);
    assert_eq!(listed(&format!("&from=2026-03-07&to=2026-03-09&place={}", cards.other_van)), [night, next]);
    assert_eq!(listed(&format!("&place={}", cards.van)), [cards.job, late, early]);
    assert_eq!(listed("").len(), 5);
}

#[test]
fn questions_that_make_no_sense_are_refused() {
    let world = World::new();
    let office = world.fleet("kerbside").as_office();
    for (query, code) in [
        ("", "bad_query"),
        ("?kind=colour", "bad_query"),
        ("?kind=item&colour=red", "bad_query"),
        ("?kind=item&after=1", "bad_query"),
        ("?kind=item&room=many", "bad_query"),
        ("?kind=job&from=2026-02-30&to=2026-03-01", "bad_query"),
        ("?kind=item&from=2026-03-01&to=2026-03-01", "jobs_only"),
        ("?kind=client&place=01890a5d-ac96-774b-bcce-b302099a8057", "jobs_only"),
        ("?kind=job&from=2026-03-01", "bad_window"),
        ("?kind=job&to=2026-03-01", "bad_window"),
        ("?kind=job&from=2026-03-02&to=2026-03-01", "bad_window"),
        ("?kind=job&from=2026-01-01&to=2026-03-04", "bad_window"),
        ("?kind=job&from=%2B262142-12-31&to=%2B262142-12-31", "bad_window"),
    ] {
        office.get(&format!("/v1/cards{query}")).expect_problem(422, code);
    }
}
