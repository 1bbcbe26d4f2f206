//! What is sent takes a bounded amount of memory, whatever it is and however many send it (T28, T29).

use dropwise::ids::fresh;
use end_to_end::{Answer, Client, ProcessWorld, raw};
use flate2::Compression;
use flate2::write::GzEncoder;
use std::io::Write;
use std::time::Duration;

const MIB: usize = 1 << 20;

/// A process with its people, warmed up by each kind of request that is measured.
struct Measured {
    world: ProcessWorld,
    token: String,
}

impl Measured {
    fn start() -> Self {
        let world = ProcessWorld::start(&[("DROPWISE_TRIES_PER_SOURCE_PER_MIN", "1000000")]);
        let token = world.fleet.token_signed_with(&world.serving.keys(), world.fleet.owner);
        let measured = Self { world, token };
        for _ in 0..3 {
            let _ = measured.send_many(8, |client| put(client, &[], &card_of(MIB / 2)));
        }
        measured
    }

    fn client(&self) -> Client {
        self.world.as_nobody().with_token(self.token.clone())
    }

    /// The same by many clients at once.
    fn send_many(&self, clients: usize, send: impl Fn(&Client) -> Answer + Sync) -> Vec<Answer> {
        let send = &send;
        std::thread::scope(|scope| {
            let all: Vec<_> = (0..clients)
                .map(|_| {
                    let client = self.client();
                    scope.spawn(move || send(&client))
                })
                .collect();
            all.into_iter().map(|one| one.join().expect("an answer")).collect()
        })
    }

    /// How far the resident memory rose above where it stood while `work` ran, at its highest, in MiB.
    fn growth_mib(&self, work: impl FnOnce()) -> f64 {
        let before = self.world.serving.resident_mib();
        self.peak_mib(work) - before
    }

    /// The highest the resident memory was while `work` ran, in MiB.
    fn peak_mib(&self, work: impl FnOnce()) -> f64 {
        let process = self.world.serving.process();
        // Linux, proc(5): 5 sets the high-water mark back to what is resident now.
        std::fs::write(format!("/proc/{process}/clear_refs"), "5").expect("the mark set back");
        work();
        let status = std::fs::read_to_string(format!("/proc/{process}/status")).expect("its status");
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).expect("its highest");
        let kib: f64 = line.split_whitespace().next().and_then(|kib| kib.parse().ok()).expect("a number");
        kib / 1024.0
    }
}

/// A card whose name is far too long: read whole, understood, refused.
fn card_of(bytes: usize) -> Vec<u8> {
    let frame = br#"{"kind":"place","body":{"name":"","what":"depot"}}"#.len();
    format!(r#"{{"kind":"place","body":{{"name":"{}","what":"depot"}}}}"#, "n".repeat(bytes - frame)).into()
}

fn put(client: &Client, headers: &[(&str, &str)], body: &[u8]) -> Answer {
    let mut all = vec![("content-type", "application/json")];
    all.extend(headers);
    client.send("PUT", &format!("/v1/cards/{}", fresh()), &all, Some(body))
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut into = GzEncoder::new(Vec::new(), Compression::best());
    into.write_all(bytes).expect("memory");
    into.finish().expect("memory")
}

#[test]
fn bodies_that_inflate_are_refused_uninflated() {
    let measured = Measured::start();
    let (bomb, twice) = {
        let once = gzip(&card_of(20 * MIB));
        let twice = gzip(&once);
        (once, twice)
    };
    assert!(bomb.len() * 20 < 20 * MIB && twice.len() < bomb.len(), "{} {}", bomb.len(), twice.len());
    let grown = measured.growth_mib(|| {
        for (encoding, body) in [
            ("gzip", &bomb),
            ("x-gzip", &bomb),
            ("GZIP", &bomb),
            ("gzip, gzip", &twice),
            ("gzip,identity", &bomb),
            ("deflate", &bomb),
            ("br", &bomb),
            ("zstd", &bomb),
        ] {
            for answer in
                measured.send_many(16, |client| put(client, &[("content-encoding", encoding)], body))
            {
                answer.expect_problem(415, "encoded_body");
            }
        }
        // A handover may come as gzip, once, and is inflated in steps up to its limit.
        for (encoding, body, status) in
            [("gzip", &bomb, 413), ("gzip", &twice, 422), ("gzip, gzip", &twice, 415), ("x-gzip", &bomb, 415)]
        {
            let headers = [("content-type", "application/json"), ("content-encoding", encoding)];
            let hand_over =
                |client: &Client| client.send("POST", "/v1/device/handover", &headers, Some(body));
            for answer in measured.send_many(16, hand_over) {
                let _ = answer.expect(status);
            }
        }
        // Not said to be encoded: then it is no JSON.
        for answer in measured.send_many(16, |client| put(client, &[], &bomb)) {
            answer.expect_problem(422, "bad_json");
        }
    });
    println!("grew by {grown:.1} MiB");
    assert!(grown < 20.0, "grew by {grown:.1} MiB");
}

#[test]
fn large_and_deep_bodies_of_many_clients_leave_the_memory_where_it_was() {
    let measured = Measured::start();
    let (largest, larger) = (card_of(MIB), card_of(MIB + 1));
    let deep = "[".repeat(500_000).into_bytes();
    let round = || {
        // Now and then one may be told to come back: the rest wait for the database's connections meanwhile.
        let mut read = 0;
        for (body, status) in [(&largest, 422), (&larger, 413), (&deep, 422)] {
            for answer in measured.send_many(24, |client| put(client, &[], body)) {
                read += usize::from(answer.expect_any(&[status, 503]).status == status);
            }
        }
        assert!(read > 36, "only {read} of 72 were read");
    };
    let first = measured.peak_mib(|| (0..2).for_each(|_| round()));
    let later = measured.peak_mib(|| (0..10).for_each(|_| round()));
    println!("at most {first:.1} MiB in two rounds, {later:.1} MiB in ten more");
    assert!(later < first + 20.0, "at most {first:.1} MiB in two rounds, {later:.1} MiB in ten more");
}

#[test]
fn bodies_held_half_sent_by_hundreds_are_bounded_in_all_and_leave_room_for_small_ones() {
    const HOLDERS: usize = 300;
    let measured = Measured::start();
    let address = measured.world.serving.address;
    let body = card_of(MIB);
    let head = |path: &str| {
        format!(
            "{path} HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\nauthorization: Bearer {}\r\n\
             content-length: {MIB}\r\n\r\n",
            measured.token
        )
    };
    let mut refused = 0;
    let grown = measured.growth_mib(|| {
        let mut holders: Vec<_> = (0..HOLDERS)
            .map(|n| {
                // Half of them do not even say who they are.
                let path = if n % 2 == 0 {
                    "POST /v1/sessions".to_owned()
                } else {
                    format!("PUT /v1/cards/{}", fresh())
                };
                let mut socket = raw::open(address);
                let _ = socket.write_all(head(&path).as_bytes());
                // Whoever was refused meanwhile is told so when it reads.
                let _ = socket.write_all(&body[..900 * 1024]);
                socket
            })
            .collect();
        std::thread::sleep(Duration::from_secs(1));
        let small =
            put(&measured.client(), &[], br#"{"kind":"place","body":{"name":"Quay","what":"depot"}}"#);
        let _ = small.expect(201);
        for socket in &mut holders {
            let heard = raw::listen(socket, Duration::from_millis(1));
            if !heard.is_empty() {
                assert!(heard.starts_with("HTTP/1.1 503") && heard.contains("retry-after"), "{heard}");
                refused += 1;
            }
        }
    });
    println!("{refused} of {HOLDERS} were told to come back; grew by {grown:.1} MiB");
    assert!(refused > HOLDERS / 3, "{refused} were told to come back");
    // Without a bound it would be all 264 MiB of bodies, and some 90 MiB of connections.
    assert!(grown < 220.0, "grew by {grown:.1} MiB");
    // When they have gone there is room again.
    std::thread::sleep(Duration::from_millis(500));
    let _ = put(&measured.client(), &[], &body).expect(422);
}
