//! Whether the process lives and whether it can work.

use end_to_end::World;

#[test]
fn a_server_with_its_database_is_alive_and_ready() {
    let world = World::new();
    for path in ["/health/live", "/health/ready"] {
        let answer = world.as_nobody().get(path).expect(200);
        assert_eq!(answer.json(), serde_json::json!({"state": "ok"}));
    }
}

#[test]
fn health_says_nothing_about_versions_to_strangers() {
    let world = World::new();
    for path in ["/health/live", "/health/ready"] {
        let answer = world.as_nobody().get(path).expect(200);
        let said = format!("{:?}{}", answer.headers, answer.text()).to_lowercase();
        for word in [env!("CARGO_PKG_VERSION"), "actix", "postgres", "rust"] {
            assert!(!said.contains(word), "{path} tells {word}: {said}");
        }
        assert_eq!(answer.header("server"), None);
    }
}
