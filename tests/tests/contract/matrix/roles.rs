//! Who may call what, and that another fleet's record is as unknown as one that never was.

use super::calls::call;
use super::stage::{Actor, Stage, Whose, all_operations};
use end_to_end::Answer;

/// What of an answer must be equal: all but what differs from request to request by nature.
fn comparable(answer: &Answer, fresh: &[String]) -> String {
    let mut headers: Vec<String> = answer
        .headers
        .iter()
        // `connection` speaks of one connection and not of the answer (RFC 9110, 7.6.1): the server closes
        // it when it turned a request away before the whole body had arrived, which is the network's doing.
        .filter(|(name, _)| {
            !["date", "x-request-id", "content-length", "connection"].contains(&name.as_str())
        })
        .map(|(name, value)| format!("{name}: {value}"))
        .collect();
    headers.sort();
    let mut text = format!("{}\n{}\n\n{}", answer.status, headers.join("\n"), answer.text());
    for word in fresh {
        text = text.replace(word, "FRESH");
    }
    text
}

#[test]
fn every_operation_lets_in_whom_the_document_names_and_nobody_else() {
    let stage = Stage::set();
    let (mut refused, mut allowed) = (0, 0);
    for operation in all_operations() {
        for actor in Actor::ALL {
            for whose in [Whose::Ours, Whose::Theirs, Whose::Nobodys] {
                let Some(call) = call(&stage, &operation, actor, whose) else { continue };
                let answer = call.send(&stage.client(actor));
                let cell = format!("{} as {} on {whose:?}: {}", operation.id, actor.word(), answer.text());
                assert!(
                    operation.statuses.contains(&answer.status.to_string()),
                    "status {} is not documented: {cell}",
                    answer.status
                );
                if operation.admits(actor) {
                    assert!(![401, 403].contains(&answer.status), "turned away: {cell}");
                    if whose == Whose::Ours {
                        assert!((200..300).contains(&answer.status), "{}: {cell}", answer.status);
                        allowed += 1;
                    }
                } else if actor == Actor::Nobody {
                    assert_eq!(answer.header("www-authenticate"), Some("Bearer"), "{cell}");
                    answer.expect_problem(401, "not_signed_in");
                    refused += 1;
                } else {
                    answer.expect_problem(403, "not_allowed");
                    refused += 1;
                }
            }
        }
    }
    println!("{allowed} calls allowed, {refused} refused");
    assert!(allowed > 40 && refused > 60, "{allowed} allowed, {refused} refused");
}

#[test]
fn another_fleets_record_is_answered_to_the_byte_like_one_that_never_was() {
    let stage = Stage::set();
    let mut compared = 0;
    for operation in all_operations() {
        for actor in Actor::ALL {
            let foreign = call(&stage, &operation, actor, Whose::Theirs);
            let missing = call(&stage, &operation, actor, Whose::Nobodys);
            let (Some(foreign), Some(missing)) = (foreign, missing) else { continue };
            let one = comparable(&foreign.send(&stage.client(actor)), &foreign.fresh);
            let other = comparable(&missing.send(&stage.client(actor)), &missing.fresh);
            // What is handed out once is random by intent.
            assert_eq!(one, other, "{} as {}", operation.id, actor.word());
            compared += 1;
        }
    }
    println!("{compared} pairs of answers were equal");
    assert!(compared > 20, "only {compared}");
}

#[test]
fn a_session_that_ended_and_a_member_who_left_are_nobody() {
    let stage = Stage::set();
    let member = stage.member(Whose::Ours);
    let clients = [stage.client(Actor::Office), stage.client(Actor::Technician)];
    for client in &clients {
        client.get("/v1/members/self").expect(200);
    }
    let mut owner = stage.world.db.as_owner();
    owner.batch_execute("update sessions set ended_at = now()").expect("sessions ended");
    owner
        .execute("update members set retired_at = now() where member_id = $1", &[&member])
        .expect("a member gone");
    // The server may remember a session for three seconds.
    std::thread::sleep(std::time::Duration::from_millis(3_200));
    for client in &clients {
        client.get("/v1/members/self").expect_problem(401, "not_signed_in");
    }
}
