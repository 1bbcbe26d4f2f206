//! No secret and no person in the log, at its loudest (T44); no token in an address (T15).

use end_to_end::ProcessWorld;
use end_to_end::sign_in::{set_password, sign_in};
use serde_json::json;

const PASSWORD: &str = "canary password of seven yellow feathers";
const NEW_PASSWORD: &str = "canary successor of nine yellow feathers";
const WRONG: &str = "canary mistake of three yellow feathers";

#[test]
fn the_loudest_log_holds_no_password_token_code_or_name() {
    let world = ProcessWorld::start(&[("DROPWISE_LOG", "trace")]);
    set_password(&world.db, &world.fleet, world.fleet.owner, PASSWORD);
    let nobody = world.as_nobody();

    let session = sign_in(&nobody, "harbour", "owner", PASSWORD).expect(201).json();
    sign_in(&nobody, "harbour", "owner", WRONG).expect_problem(401, "sign_in_refused");
    let refresh = json!({"refresh_token": session["refresh_token"]});
    let second = nobody.post("/v1/sessions/refresh", &refresh).expect(200).json();
    let third = nobody.post("/v1/sessions/refresh", &json!({"refresh_token": second["refresh_token"]}));
    let third = third.expect(200).json();
    let owner = nobody.with_token(third["access_token"].as_str().expect("a token"));
    let member = format!("/v1/members/{}", uuid::Uuid::new_v4());
    let named = json!({"handle": "canaria", "name": "Canaria Yellowfeather", "role": "technician"});
    let _ = owner.put(&member, &named).expect(200);
    owner
        .put(&member, &json!({"handle": "canaria", "name": "Canaria Redfeather", "role": "office"}))
        .expect_problem(409, "id_in_use");
    let made = owner.send("POST", &format!("{member}/entry-code"), &[], None).expect(201).json();
    let claim = json!({"fleet": "harbour", "code": made["code"], "password": NEW_PASSWORD});
    let _ = nobody.post("/v1/members/claim", &claim).expect(204);
    nobody.post("/v1/members/claim", &claim).expect_problem(401, "entry_code_refused");
    // Bodies that do not fit, with the secret in the wrong place; the answer must not repeat it either.
    for odd in [
        json!({"fleet": "harbour", "member": "owner", "password": {"canary password": 1}}),
        json!({"fleet": "harbour", "member": "owner", "password": [PASSWORD]}),
        json!({"fleet": "harbour", "member": "owner", "password": PASSWORD.repeat(40)}),
    ] {
        let answer = nobody.post("/v1/sessions", &odd);
        assert_eq!(answer.status, 422);
        assert!(!answer.text().contains("canary"), "{}", answer.text());
    }
    let change = json!({"current_password": WRONG, "new_password": NEW_PASSWORD});
    owner.put("/v1/members/self/password", &change).expect_problem(422, "wrong_password");
    // Reuse is noted; the note names the member by id.
    nobody.post("/v1/sessions/refresh", &refresh).expect_problem(401, "refresh_refused");

    let said = world.serving.said();
    assert!(said.contains("/v1/sessions"), "the log is on: {said}");
    assert!(said.contains("TRACE") || said.contains("DEBUG"), "and loud");
    let mut canaries = vec!["canary", "Canaria", "canaria", "feather", "$argon2"]
        .into_iter()
        .map(str::to_owned)
        .collect::<Vec<_>>();
    for session in [&session, &second, &third] {
        for token in ["access_token", "refresh_token"] {
            canaries.push(session[token].as_str().expect("a token").to_owned());
        }
    }
    canaries.push(made["code"].as_str().expect("a code").to_owned());
    for canary in canaries {
        assert!(!said.contains(&canary), "the log holds {canary}");
    }
}
