//! What an operator does at the command line.

use end_to_end::World;
use end_to_end::binary::dropwise;
use end_to_end::sign_in::{PASSWORD, sign_in};
use std::io::Write;
use std::process::{Command, Output, Stdio};

/// Runs `dropwise fleet`; the owner's password by variable, or else by standard input.
fn fleet(world: &World, by_variable: bool, password: &str, changed: &[(&str, &str)]) -> Output {
    let mut command = Command::new(dropwise());
    command.arg("fleet").env_clear().env("DROPWISE_DATABASE_URL", world.db.server_url());
    for (name, value) in [
        ("--handle", "harbour"),
        ("--name", "Harbour Shine"),
        ("--currency", "USD"),
        ("--zone", "America/Denver"),
        ("--owner-handle", "ada"),
        ("--owner-name", "Ada of the tests"),
    ] {
        let value = changed.iter().find(|(other, _)| *other == name).map_or(value, |(_, value)| value);
        command.args([name, value]);
    }
    if by_variable {
        command.env("DROPWISE_OWNER_PASSWORD", password);
    }
    let piped = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = piped.spawn().expect("a process");
    let mut input = child.stdin.take().expect("its input");
    if !by_variable {
        writeln!(input, "{password}").expect("a line");
    }
    drop(input);
    child.wait_with_output().expect("its end")
}

#[test]
fn a_fleet_is_made_and_its_owner_gets_in() {
    let world = World::new();
    for (by_variable, handle) in [(true, "harbour"), (false, "pier")] {
        let made = fleet(&world, by_variable, PASSWORD, &[("--handle", handle)]);
        let said = String::from_utf8_lossy(&made.stdout).into_owned();
        assert!(made.status.success(), "{said}{}", String::from_utf8_lossy(&made.stderr));
        let session = sign_in(&world.as_nobody(), handle, "ada", PASSWORD).expect(201).json();
        assert!(said.contains(session["fleet_id"].as_str().expect("an id")), "{said}");
        assert!(said.contains(session["member_id"].as_str().expect("an id")), "{said}");
    }
}

#[test]
fn what_cannot_be_right_is_refused_in_a_sentence_and_leaves_nothing() {
    let world = World::new();
    for (password, changed, code) in [
        ("canary short", ("--name", "Harbour"), "weak_password"),
        (PASSWORD, ("--handle", "Harbour Shine"), "bad_handle"),
        (PASSWORD, ("--owner-handle", "-"), "bad_handle"),
        (PASSWORD, ("--currency", "XQQ"), "unknown_currency"),
        (PASSWORD, ("--zone", "Mars/Olympus"), "unknown_zone"),
    ] {
        let refused = fleet(&world, true, password, &[changed]);
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(!refused.status.success(), "{changed:?}");
        assert!(said.contains(code), "{changed:?}: {said}");
        assert!(!said.contains("canary") && !said.contains("panicked"), "{said}");
    }
    let left: i64 =
        world.db.as_owner().query_one("select count(*) from fleets", &[]).expect("a count").get(0);
    assert_eq!(left, 0);
}

#[test]
fn a_password_is_never_an_argument() {
    let help = Command::new(dropwise()).args(["fleet", "--help"]).output().expect("help");
    let text = String::from_utf8_lossy(&help.stdout).into_owned();
    assert!(text.contains("--owner-name") && !text.contains("--owner-password"), "{text}");
}
