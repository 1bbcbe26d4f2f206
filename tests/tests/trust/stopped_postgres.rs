//! Postgres stands still (SIGSTOP), then goes on: the process stays alive, says it is not ready in
//! time, and recovers by itself.

use dropwise::clock::Clock;
use end_to_end::cluster::Cluster;
use end_to_end::process::{family, signal};
use end_to_end::sign_in::{PASSWORD, sign_in};
use end_to_end::{Answer, Client, Fleet, TestDb, TestServer};
use std::time::{Duration, Instant};

/// A Postgres held still; goes on when dropped, so that a failing test leaves nothing stopped.
struct Still(Vec<u32>);

impl Still {
    fn hold(cluster: &Cluster) -> Self {
        // The parent first, or it starts more children meanwhile.
        let parent = cluster.postmaster();
        signal(parent, "STOP");
        let all = family(parent);
        all.iter().for_each(|process| signal(*process, "STOP"));
        Self(all)
    }
}

impl Drop for Still {
    fn drop(&mut self) {
        self.0.iter().for_each(|process| signal(*process, "CONT"));
    }
}

#[test]
fn while_postgres_stands_still_live_answers_ready_refuses_and_both_recover() {
    let cluster = Cluster::own(&["fsync=off"]);
    let db = TestDb::fresh_on(&cluster);
    let server = TestServer::start_with(&db.server_url(), &Clock::system(), 2);
    let client = Client::new(server.address);
    // Once with connections in the pool, which hang in the middle, and once where new ones are opened.
    for warm in [true, false] {
        if warm {
            client.get("/health/ready").expect(200);
        } else {
            let mut owner = db.as_owner();
            owner
                .batch_execute("select pg_terminate_backend(pid) from pg_stat_activity where usename = 'dropwise_server'")
                .expect("an end to the pool's connections");
        }
        let still = Still::hold(&cluster);
        for _ in 0..3 {
            let live = client.get("/health/live").expect(200);
            assert!(live.took < Duration::from_millis(500), "live took {:?}", live.took);
            let ready = client.get("/health/ready");
            assert!(ready.took <= Duration::from_secs(3), "ready (warm: {warm}) took {:?}", ready.took);
            assert!(ready.header("retry-after").is_some(), "{ready:?}");
            ready.expect_problem(503, "try_later");
        }
        // Many at once must not make anyone wait longer.
        let many: Vec<_> = (0..20)
            .map(|_| {
                let client = client.clone();
                std::thread::spawn(move || client.get("/health/ready"))
            })
            .collect();
        std::thread::sleep(Duration::from_millis(300));
        assert!(client.get("/health/live").expect(200).took < Duration::from_millis(500));
        for one in many {
            let answer = one.join().expect("an answer").expect(503);
            assert!(answer.took <= Duration::from_secs(5), "one of many took {:?}", answer.took);
        }
        drop(still);
        let resumed = Instant::now();
        while client.get("/health/ready").status != 200 {
            assert!(resumed.elapsed() < Duration::from_secs(5), "not ready again after 5 s");
        }
    }
}

#[test]
fn while_postgres_stands_still_reads_writes_and_sign_ins_are_answered_in_time() {
    let cluster = Cluster::own(&["fsync=off"]);
    let db = TestDb::fresh_on(&cluster);
    let clock = Clock::system();
    let server = TestServer::start_with(&db.server_url(), &clock, 2);
    let nobody = Client::new(server.address);
    let fleet = Fleet::found(&db.server_url(), &clock, nobody.clone(), "harbour");
    let owner = fleet.as_owner();
    let _ = owner.get("/v1/members/self").expect(200);
    let still = Still::hold(&cluster);
    let ask: [fn(&Client) -> Answer; 3] = [
        |client| client.get("/v1/cards?kind=place"),
        |client| {
            let place = serde_json::json!({"kind": "place", "body": {"name": "Quay", "what": "depot"}});
            client.put(&format!("/v1/cards/{}", dropwise::ids::fresh()), &place)
        },
        |client| sign_in(client, "harbour", "owner", PASSWORD),
    ];
    // More of each than there are connections: those in the pool hang, the rest wait for one.
    let asked: Vec<_> = (0..24)
        .map(|n| {
            let client = owner.clone();
            std::thread::spawn(move || ask[n % 3](&client))
        })
        .collect();
    for one in asked {
        let answer = one.join().expect("an answer");
        assert!(answer.took <= Duration::from_secs(12), "{} took {:?}", answer.asked, answer.took);
        assert!(answer.header("retry-after").is_some(), "{answer:?}");
        answer.expect_problem(503, "try_later");
    }
    drop(still);
    let resumed = Instant::now();
    while ask.iter().any(|ask| ask(&owner).status == 503) {
        assert!(resumed.elapsed() < Duration::from_secs(5), "does not serve again after 5 s");
    }
}

#[test]
fn when_postgres_is_killed_the_server_recovers_alone() {
    let cluster = Cluster::own(&["fsync=off"]);
    let db = TestDb::fresh_on(&cluster);
    let server = TestServer::start_with(&db.server_url(), &Clock::system(), 2);
    let client = Client::new(server.address);
    client.get("/health/ready").expect(200);
    // One backend dies hard: Postgres throws everyone out and recovers.
    let backend: i32 = db
        .as_owner()
        .query_one("select pid from pg_stat_activity where usename = 'dropwise_server' limit 1", &[])
        .expect("a backend")
        .get(0);
    signal(u32::try_from(backend).expect("a process id"), "KILL");
    let killed = Instant::now();
    loop {
        let answer = client.get("/health/ready");
        assert!([200, 503].contains(&answer.status), "{}", answer.text());
        if answer.status == 200 && killed.elapsed() > Duration::from_millis(200) {
            break;
        }
        assert!(killed.elapsed() < Duration::from_secs(8), "not ready again");
    }
}
