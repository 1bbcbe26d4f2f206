//! Whoever is turned away learns nothing: same status, bytes, headers and time (T05).

use end_to_end::sign_in::{PASSWORD, sign_in};
use end_to_end::timing::Compared;
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
    // 504 tries in all.
    const ROUNDS: usize = 84;
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
    let client = world.as_nobody();
    let first = shown(&sign_in(&client, "nowhere", "owner", PASSWORD));
    assert_eq!(first.0, 401);
    let sample = || {
        let mut took: BTreeMap<&str, Vec<Duration>> = BTreeMap::new();
        for round in 0..ROUNDS {
            for at in 0..cases.len() {
                let (case, fleet, member, password) = cases[(round + at) % cases.len()];
                let answer = sign_in(&client, fleet, member, password);
                assert_eq!(shown(&answer), first, "{case}");
                took.entry(case).or_default().push(answer.took);
            }
        }
        took
    };
    let against =
        |took: &BTreeMap<&str, Vec<Duration>>, case: &str| Compared::of(&took[case], &took["wrong password"]);
    let once = sample();
    for (case, ..) in cases {
        println!("{case}: {:?}", against(&once, case));
    }
    let suspects: Vec<&str> =
        cases.iter().map(|(case, ..)| *case).filter(|case| against(&once, case).differs()).collect();
    if !suspects.is_empty() {
        let again = sample();
        for case in suspects {
            let (first, second) = (against(&once, case), against(&again, case));
            assert!(!second.differs(), "{case}: {first:?}, and again {second:?}");
        }
    }
    // The same measure must see what it is for. Without the decoy an unknown name is answered some twenty
    // times sooner; this is a quarter later.
    let wrong = &once["wrong password"];
    let later: Vec<Duration> = wrong.iter().map(|took| *took * 5 / 4).collect();
    let planted = Compared::of(wrong, &later);
    assert!(planted.differs(), "a quarter more was not noticed: {planted:?}");
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
