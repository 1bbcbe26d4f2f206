//! Phones that hand over what they have queued, all at once, and offices that read meanwhile.

use crate::stage::{ENTRIES, Phone};
use end_to_end::Client;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// What an evening came to.
pub(crate) struct Evening {
    pub(crate) entries: usize,
    pub(crate) took: Duration,
    /// Of each handover that was taken, from sending it to its verdicts.
    pub(crate) each: Vec<Duration>,
    /// Handovers that were told to come back, and did.
    pub(crate) turned_away: usize,
}

impl Evening {
    pub(crate) fn per_s(&self) -> f64 {
        crate::figures::rate(self.entries, self.took)
    }
}

/// What one phone has queued.
pub(crate) struct Queue {
    client: Client,
    handovers: Vec<Vec<u8>>,
}

/// Written beforehand: making them is no part of the evening.
pub(crate) fn queues(phones: &mut [Phone], batches: usize) -> Vec<Queue> {
    phones
        .iter_mut()
        .map(|phone| Queue {
            client: phone.client.clone(),
            handovers: (0..batches).map(|_| phone.handover()).collect(),
        })
        .collect()
}

/// Every phone hands over its queue. One that is told to come back waits as long as it is told.
pub(crate) fn send(queues: &[Queue]) -> Evening {
    let turned_away = AtomicUsize::new(0);
    let start = Instant::now();
    let each: Vec<Duration> = std::thread::scope(|scope| {
        let senders: Vec<_> = queues.iter().map(|queue| scope.spawn(|| drain(queue, &turned_away))).collect();
        senders.into_iter().flat_map(|sender| sender.join().expect("a phone")).collect()
    });
    Evening {
        entries: each.len() * ENTRIES,
        took: start.elapsed(),
        each,
        turned_away: turned_away.into_inner(),
    }
}

fn drain(queue: &Queue, turned_away: &AtomicUsize) -> Vec<Duration> {
    let json = [("content-type", "application/json")];
    let mut each = Vec::with_capacity(queue.handovers.len());
    for handover in &queue.handovers {
        loop {
            let answer = queue.client.send("POST", "/v1/device/handover", &json, Some(handover));
            if answer.status == 503 {
                let wait: u64 = answer.header("retry-after").expect("Retry-After").parse().expect("seconds");
                turned_away.fetch_add(1, Ordering::Relaxed);
                std::thread::sleep(Duration::from_secs(wait));
                continue;
            }
            let answer = answer.expect(200);
            // Counted in the text: five hundred phones' parsing would be measured along with the server.
            let taken = answer.text().matches(r#""verdict":"taken""#).count();
            assert_eq!(taken, ENTRIES, "{}", answer.text().chars().take(600).collect::<String>());
            each.push(answer.took);
            break;
        }
    }
    each
}

/// While `work` runs, one person at each office reads what an office reads, again and again.
pub(crate) fn offices_while<T: Send>(
    offices: &[(Client, Uuid)],
    work: impl FnOnce() -> T + Send,
) -> (T, Vec<Duration>) {
    let over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let readers: Vec<_> = offices
            .iter()
            .map(|(office, job)| {
                let over = &over;
                scope.spawn(move || {
                    let paths = [
                        "/v1/months/2026-03".to_owned(),
                        format!("/v1/jobs/{job}/costs"),
                        "/v1/levels/pads".to_owned(),
                    ];
                    let mut each = Vec::new();
                    for path in paths.iter().cycle() {
                        if over.load(Ordering::Relaxed) {
                            return each;
                        }
                        let answer = office.get(path).expect_any(&[200, 503]);
                        if answer.status == 200 {
                            each.push(answer.took);
                        }
                        std::thread::sleep(Duration::from_millis(500));
                    }
                    each
                })
            })
            .collect();
        let done = work();
        over.store(true, Ordering::Relaxed);
        (done, readers.into_iter().flat_map(|reader| reader.join().expect("an office")).collect())
    })
}
