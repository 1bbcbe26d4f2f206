//! Whoever is turned away learns nothing: same status, bytes, headers and time (T05).

use end_to_end::sign_in::{PASSWORD, sign_in};
use end_to_end::{Answer, World};
use std::collections::BTreeMap;
use std::time::Duration;

/// Headers that differ from any request to the next.
const OWN: [&str; 2] = ["date", "x-request-id"];

fn shown(answer: &Answer) -> (u16, Vec<(String, String)>, String) {
    let headers = answer.headers.iter().filter(|(name, _)| !OWN.contains(&name.as_str())).cloned().collect();
    (answer.status, headers, answer.text())
}

#[test]
fn unknown_retired_and_wrong_look_and_last_alike() {
    const ROUNDS: usize = 30;
    let world = World::new();
    let fleet = world.fleet_with_passwords("harbour");
    let retire = format!("/v1/members/{}/retire", fleet.office.id);
    let _ = fleet.as_owner().send("POST", &retire, &[], None).expect(200);
    let _newcomer = world.fleet("pier");
    let cases = [
        ("unknown fleet", "nowhere", "owner", PASSWORD),
        ("no fleet's handle", "!?", "owner", PASSWORD),
        ("unknown member", "harbour", "nobody", PASSWORD),
        ("retired member, right password", "harbour", "office", PASSWORD),
        ("member without a password", "pier", "owner", PASSWORD),
        ("wrong password", "harbour", "owner", "six brown herons flying"),
    ];
    let mut took: BTreeMap<&str, Vec<Duration>> = BTreeMap::new();
    let client = world.as_nobody();
    let first = shown(&sign_in(&client, "nowhere", "owner", PASSWORD));
    assert_eq!(first.0, 401);
    for _ in 0..ROUNDS {
        for (case, fleet, member, password) in cases {
            let answer = sign_in(&client, fleet, member, password);
            assert_eq!(shown(&answer), first, "{case}");
            took.entry(case).or_default().push(answer.took);
        }
    }
    let medians: Vec<(Duration, &str)> = took
        .into_iter()
        .map(|(case, mut times)| {
            times.sort_unstable();
            (times[ROUNDS / 2], case)
        })
        .collect();
    println!("medians: {medians:?}");
    let (shortest, longest) = (medians.iter().min().expect("some"), medians.iter().max().expect("some"));
    // Without the decoy an unknown name is answered some twenty times sooner.
    assert!(longest.0 < shortest.0 * 3 / 2, "{longest:?} against {shortest:?}");
}

#[test]
fn codes_that_hold_nothing_are_refused_alike() {
    let world = World::new();
    let _fleet = world.fleet("harbour");
    let claim = |fleet: &str, code: &str| {
        let body = serde_json::json!({"fleet": fleet, "code": code, "password": PASSWORD});
        shown(&world.as_nobody().post("/v1/members/claim", &body))
    };
    let good_looking = "00000-00000-00000-00000-00000-0";
    let first = claim("harbour", good_looking);
    assert_eq!(first.0, 401);
    assert_eq!(claim("nowhere", good_looking), first);
    assert_eq!(claim("harbour", "short"), first);
}
