//! Who may call what, and that another fleet's record is as unknown as one that never was.

use super::calls::call;
use super::stage::{Actor, Operation, Stage, Whose, all_operations};
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

/// What a run through the matrix found.
#[derive(Debug, Default)]
pub(super) struct Found {
    /// Answers that should not have been, each with its cell.
    pub(super) faults: Vec<String>,
    allowed: usize,
    refused: usize,
    compared: usize,
}

impl Found {
    fn fault(&mut self, rule: &str, cell: &str) {
        self.faults.push(format!("{rule}: {cell}"));
    }

    /// Stops the test when there was a fault, or too little to judge by: a server that refuses
    /// everything leaks nothing and proves nothing.
    #[track_caller]
    pub(super) fn expect_clean(&self) {
        println!(
            "{} calls allowed, {} refused, {} pairs compared",
            self.allowed, self.refused, self.compared
        );
        assert!(self.faults.is_empty(), "{} faults:\n{}", self.faults.len(), self.faults.join("\n"));
        let enough = self.allowed > 40 && self.refused > 60 && self.compared > 20;
        assert!(enough, "too little was tried: {self:?}");
    }
}

/// Tries every operation as everybody on everybody's records.
pub(super) fn run(stage: &Stage) -> Found {
    let mut found = Found::default();
    for operation in all_operations() {
        for actor in Actor::ALL {
            who_is_let_in(stage, &operation, actor, &mut found);
            whose_is_told_apart(stage, &operation, actor, &mut found);
        }
    }
    found
}

/// The document names who is let in, and nobody else is; what they are told holds nothing of the other fleet.
fn who_is_let_in(stage: &Stage, operation: &Operation, actor: Actor, found: &mut Found) {
    for whose in [Whose::Ours, Whose::Theirs, Whose::Nobodys] {
        let Some(call) = call(stage, operation, actor, whose) else { continue };
        let answer = call.send(&stage.client(actor));
        let text = answer.text();
        let cell = format!("{} as {} on {whose:?}: {} {text}", operation.id, actor.word(), answer.status);
        if !operation.statuses.contains(&answer.status.to_string()) {
            found.fault("not a documented status", &cell);
        }
        if whose != Whose::Theirs && stage.their_ids().iter().any(|id| text.contains(id)) {
            found.fault("told of another fleet", &cell);
        }
        let problem = |code: &str| {
            let document = answer.header("content-type") == Some("application/problem+json");
            document && answer.json()["code"] == code
        };
        if operation.admits(actor) {
            if [401, 403].contains(&answer.status) {
                found.fault("turned away", &cell);
            }
            if whose == Whose::Ours {
                if (200..300).contains(&answer.status) {
                    found.allowed += 1;
                } else {
                    found.fault("not let do it", &cell);
                }
            }
        } else if actor == Actor::Nobody {
            let asked = answer.header("www-authenticate") == Some("Bearer");
            if answer.status == 401 && asked && problem("not_signed_in") {
                found.refused += 1;
            } else {
                found.fault("not asked who they are", &cell);
            }
        } else if answer.status == 403 && problem("not_allowed") {
            found.refused += 1;
        } else {
            found.fault("not turned away", &cell);
        }
    }
}

/// Another fleet's record is answered to the byte like one that never was.
fn whose_is_told_apart(stage: &Stage, operation: &Operation, actor: Actor, found: &mut Found) {
    let foreign = call(stage, operation, actor, Whose::Theirs);
    let missing = call(stage, operation, actor, Whose::Nobodys);
    let (Some(foreign), Some(missing)) = (foreign, missing) else { return };
    let one = comparable(&foreign.send(&stage.client(actor)), &foreign.fresh);
    let other = comparable(&missing.send(&stage.client(actor)), &missing.fresh);
    found.compared += 1;
    if one != other {
        let cell = format!("{} as {}: {one}\n--- and not\n{other}", operation.id, actor.word());
        found.fault("another fleet's is told from nobody's", &cell);
    }
}

#[test]
fn every_operation_lets_in_whom_the_document_names_and_tells_nothing_of_another_fleet() {
    run(&Stage::set()).expect_clean();
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
