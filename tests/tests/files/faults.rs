//! A full disk, a device that fails at any call, a server that is killed at any moment: nothing half, nothing
//! lost that was acknowledged, and on it goes when the fault is over.

use super::stage::{Stage, settle};
use chrono::{Duration, Utc};
use dropwise::clock::Clock;
use dropwise::flows::files::{Cabinet, Quota, check, sweep};
use dropwise::store::Db;
use dropwise::store::blobs::Blobs;
use end_to_end::binary::Serving;
use end_to_end::cards::Cards;
use end_to_end::cluster::Cluster;
use end_to_end::failing_store::FailingStore;
use end_to_end::files::{Sending, large_png};
use end_to_end::server::cabinet;
use end_to_end::{Client, Fleet, TestDb};
use std::io::ErrorKind;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration as Wait;

const PART: usize = 512 * 1024;

fn over(store: &FailingStore) -> Stage {
    let quota = Quota { bytes: 1 << 32, files: 10_000 };
    Stage::with(
        Cabinet::new(Blobs::over(Arc::new(store.clone())), quota),
        tempfile::tempdir().expect("a folder"),
    )
}

/// A disk of a few MiB, where this process may mount one.
struct SmallDisk(tempfile::TempDir);

impl SmallDisk {
    fn mount(mib: u32) -> Option<Self> {
        let folder = tempfile::tempdir().expect("a folder");
        let size = format!("size={mib}m,mode=700");
        let mut mount = Command::new("mount");
        mount.args(["-t", "tmpfs", "-o", &size, "dropwise-tests"]).arg(folder.path());
        let done = mount.stdout(Stdio::null()).stderr(Stdio::null()).status();
        done.is_ok_and(|status| status.success()).then_some(Self(folder))
    }

    fn grow(&self, mib: u32) {
        let size = format!("remount,size={mib}m");
        let done = Command::new("mount").args(["-o", &size]).arg(self.0.path()).status();
        assert!(done.expect("mount").success());
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.0.path()).status();
    }
}

#[test]
fn a_full_disk_is_told_leaves_nothing_half_and_the_file_goes_on_when_there_is_room() {
    // Without the right to mount, the injected error below asks the same questions.
    let Some(disk) = SmallDisk::mount(2) else {
        println!("no disk could be mounted here: a_store_that_is_full_is_told_as_such stands in");
        return;
    };
    let cabinet = cabinet(&disk.0.path().join("files").display().to_string());
    let stage = Stage::with(cabinet, tempfile::tempdir().expect("a folder"));
    let client = stage.technician();
    let kept = stage.kept_photo(&client);
    let file = Sending::new(large_png(5 * PART, 1), "image/png");
    let _ = file.reserve(&client).expect(201);
    let mut at = 0;
    let full = loop {
        let answer = file.append(&client, at, &file.bytes[at..at + PART]);
        if answer.status != 200 {
            break answer;
        }
        at += PART;
    };
    full.expect_problem(507, "store_full");
    assert!((PART..5 * PART).contains(&at), "some of it fits, and not all: {at}");
    assert_eq!(file.reserve(&client).expect(200).json()["offset_bytes"], at);
    let on_disk: u64 = sizes(disk.0.path());
    let kept_bytes = kept.fetch(&client).expect(200).body.len() as u64;
    assert_eq!(on_disk, at as u64 + kept_bytes, "no half-written file is left");
    assert_eq!(stage.count("upload_parts"), (at / PART) as i64);
    let _ = client.get("/v1/members/self").expect(200);
    let _ = stage.photograph(&client, stage.cards.job, &file.sha256);
    // Room for the parts, and not for the whole beside them.
    disk.grow(3);
    for (n, part) in file.bytes.chunks(PART).enumerate().filter(|(n, _)| n * PART >= at) {
        let _ = file.append(&client, n * PART, part).expect(200);
    }
    file.finish(&client).expect_problem(507, "store_full");
    assert_eq!(stage.count("files"), 1);
    disk.grow(16);
    assert_eq!(file.finish(&client).expect(200).json()["kept_sha256"], file.sha256);
    assert_eq!(file.fetch(&client).expect(200).body, file.bytes);
    assert_eq!(sizes(disk.0.path()), file.bytes.len() as u64 + kept_bytes);
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

fn sizes(folder: &Path) -> u64 {
    let entries = std::fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry").path());
    entries
        .map(|path| if path.is_dir() { sizes(&path) } else { path.metadata().expect("a size").len() })
        .sum()
}

/// The first reservation starts a sweep beside it, whose calls would be counted too.
fn swept(store: &FailingStore) {
    let mut before = 0;
    for _ in 0..100 {
        std::thread::sleep(Wait::from_millis(50));
        let calls = store.calls();
        if calls > 0 && calls == before {
            return;
        }
        before = calls;
    }
    panic!("no sweep was seen");
}

#[test]
fn a_store_that_is_full_is_told_as_such() {
    let store = FailingStore::new(ErrorKind::StorageFull);
    let stage = over(&store);
    let client = stage.technician();
    let file = Sending::new(large_png(2 * PART, 1), "image/png");
    let _ = file.reserve(&client).expect(201);
    swept(&store);
    store.fail_at(1);
    file.append(&client, 0, &file.bytes[..PART]).expect_problem(507, "store_full");
    assert_eq!((store.names().len(), stage.count("upload_parts")), (0, 0));
    let _ = file.append(&client, 0, &file.bytes).expect(200);
    // The part is looked at and read; then the whole is written.
    store.fail_at(3);
    file.finish(&client).expect_problem(507, "store_full");
    assert_eq!((store.names().len(), stage.count("files"), stage.count("upload_parts")), (1, 0, 1));
    let _ = file.finish(&client).expect(200);
    assert_eq!(store.names().len(), 1);
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

#[test]
fn an_error_at_any_call_to_the_store_leaves_nothing_half_and_one_more_try_ends_well() {
    let store = FailingStore::new(ErrorKind::Other);
    let stage = over(&store);
    let mut n: i64 = 1;
    loop {
        let client = stage.technician();
        let file = Sending::new(large_png(2 * PART, n.unsigned_abs()), "image/png");
        let _ = file.reserve(&client).expect(201);
        store.fail_at(n);
        let mut faults = 0;
        let mut insist = |ask: &dyn Fn() -> end_to_end::Answer| {
            let first = ask();
            if first.status != 503 {
                return first.expect(200);
            }
            assert!(first.header("retry-after").is_some());
            faults += 1;
            ask().expect(200)
        };
        let _ = insist(&|| file.append(&client, 0, &file.bytes[..PART]));
        let _ = insist(&|| file.append(&client, PART, &file.bytes[PART..]));
        let _ = insist(&|| file.finish(&client));
        // An answer that has begun can only be broken off.
        let got = client.try_send("GET", &file.path(), &[], None);
        if !got.is_ok_and(|answer| answer.status == 200 && answer.body == file.bytes) {
            faults += 1;
            assert_eq!(file.fetch(&client).expect(200).body, file.bytes);
        }
        let calls = store.calls();
        store.fail_at(0);
        assert_eq!(stage.wrong(), Vec::<String>::new(), "at call {n}");
        let _ = stage.photograph(&client, stage.cards.job, &file.sha256);
        if n > calls {
            assert_eq!(faults, 0);
            break;
        }
        n += 1;
    }
    assert!(n > 8, "only {n} calls");
    println!("an error at each of {} calls", n - 1);
    // What could not be taken away at once is found by the sweep, and nothing else is.
    let before = store.names().len() as i64;
    stage.clock.advance(Duration::days(5));
    let swept = stage.sweep();
    assert_eq!((swept.uploads, swept.files), (0, 0));
    assert_eq!(swept.blobs as i64, before - stage.count("files"));
    assert_eq!(store.names().len() as i64, stage.count("files"));
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

/// The short form; the long one is a hundred.
const KILLS: usize = 6;

#[test]
fn a_server_killed_at_any_moment_of_an_upload_loses_nothing_it_acknowledged() {
    let cluster = Cluster::own(&[]);
    let db = TestDb::fresh_on(&cluster);
    let folder = tempfile::tempdir().expect("a folder");
    let location = folder.path().join("files").display().to_string();
    let settings = [("DROPWISE_FILES", location.as_str())];
    let clock = Clock::system();
    let nowhere = Client::new(([127, 0, 0, 1], 1).into());
    let fleet = Fleet::found(&db.server_url(), &clock, nowhere, "harbour");
    let serve = || {
        let mut serving = Serving::start(&db.server_url(), &settings);
        serving.wait_until_ready().expect("a start");
        let token = fleet.token_signed_with(&serving.keys(), fleet.owner);
        let client = Client::new(serving.address).with_token(token);
        (serving, client)
    };
    let (mut serving, mut client) = serve();
    let mut acknowledged: Vec<Sending> = Vec::new();
    let mut kills = 0;
    for seed in 0.. {
        let file = Sending::new(large_png(700_000 + seed, seed as u64), "image/png");
        let mut reached = 0;
        let killer = (seed % 2 == 0).then(|| {
            let process = serving.process();
            std::thread::spawn(move || {
                std::thread::sleep(Wait::from_millis(10 + 23 * (seed as u64 % 7)));
                end_to_end::process::signal(process, "KILL");
            })
        });
        while try_sending(&file, &client, &mut reached).is_none() {
            // Whoever does not answer any more is gone; a new one takes over where the notes say.
            let _ = serving.wait_for_end(Wait::from_secs(10)).expect("it was killed");
            kills += 1;
            (serving, client) = serve();
        }
        acknowledged.push(file);
        if let Some(killer) = killer {
            killer.join().expect("a killer");
            if serving.wait_for_end(Wait::from_millis(200)).is_some() {
                (serving, client) = serve();
            }
        }
        if kills >= KILLS {
            break;
        }
        assert!(seed < 200, "the kills always came too late");
    }
    for file in &acknowledged {
        assert_eq!(file.fetch(&client).expect(200).body, file.bytes);
    }
    println!("{kills} kills, {} files acknowledged", acknowledged.len());
    let cards = Cards::create(&client);
    settle(&db, &fleet, cards.van);
    let (url, id, later) = (db.server_url(), fleet.id, Utc::now() + Duration::days(5));
    let cabinet = cabinet(&location);
    actix_web::rt::System::new().block_on(async move {
        let db = Db::open(&url, 1).expect("a pool");
        for finding in check::whole(&db, &cabinet, id).await.expect("an audit") {
            assert_eq!(finding.compared.wrong, 0, "{finding:?}");
        }
        // Nothing refers to these files: five days later all of them are gone, and so is what the kills left.
        sweep::everything(&db, &cabinet, id, later).await.expect("a sweep");
    });
    assert_eq!(sizes(folder.path()), 0, "nothing is left");
}

/// Sends as much as the server lives for; `None` when it died. No acknowledged part may be gone.
fn try_sending(file: &Sending, client: &Client, reached: &mut u64) -> Option<()> {
    let ask = |method: &str, path: &str, kind: &str, body: Option<&[u8]>| {
        client.try_send(method, path, &[("content-type", kind)], body).ok()
    };
    let wish = file.wish().to_string();
    let standing =
        ask("PUT", &file.path(), "application/json", Some(wish.as_bytes()))?.expect_any(&[200, 201]);
    let mut at = standing.json()["offset_bytes"].as_u64().expect("a place");
    assert!(at >= *reached, "{at} of {reached} acknowledged bytes are left");
    while at < file.bytes.len() as u64 {
        let to = (at + 128 * 1024).min(file.bytes.len() as u64);
        let path = format!("{}/parts/{at}", file.path());
        let part = &file.bytes[at as usize..to as usize];
        let _ = ask("PUT", &path, "application/octet-stream", Some(part))?.expect(200);
        at = to;
        *reached = at;
    }
    let done = ask("POST", &format!("{}/finish", file.path()), "application/json", None)?;
    let _ = done.expect(200);
    Some(())
}
