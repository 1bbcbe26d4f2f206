//! What is counted, and how it is said.

use crate::evening::Evening;
use crate::stage::ENTRIES;
use end_to_end::binary::Serving;
use end_to_end::cluster::Cluster;
use end_to_end::process::family;
use std::time::Duration;

/// Linux counts a process's time in hundredths of a second.
const TICK_US: f64 = 10_000.0;

pub(crate) fn rate(rows: usize, took: Duration) -> f64 {
    rows as f64 / took.as_secs_f64()
}

/// Processor time, which a busy machine does not lengthen as it lengthens waits.
pub(crate) struct Meter {
    server: u32,
    postgres: u32,
    before: (f64, f64),
}

/// Processor time per entry (us), and the server's memory (MiB).
pub(crate) struct Used {
    server_us: f64,
    postgres_us: f64,
    resident_mib: f64,
}

impl Meter {
    pub(crate) fn start(server: &Serving, cluster: &Cluster) -> Self {
        let (server, postgres) = (server.process(), cluster.postmaster());
        Self { server, postgres, before: (ticks(&[server]), ticks(&family(postgres))) }
    }

    /// Connections of the server stay open, so none of its backends is missed.
    pub(crate) fn stop(self, entries: usize) -> Used {
        let per_entry = |now: f64, before: f64| (now - before) * TICK_US / entries as f64;
        Used {
            server_us: per_entry(ticks(&[self.server]), self.before.0),
            postgres_us: per_entry(ticks(&family(self.postgres)), self.before.1),
            resident_mib: resident_mib(self.server),
        }
    }
}

fn ticks(processes: &[u32]) -> f64 {
    let of = |id: &u32| -> Option<f64> {
        let stat = std::fs::read_to_string(format!("/proc/{id}/stat")).ok()?;
        let fields: Vec<&str> = stat.rsplit(')').next()?.split_whitespace().collect();
        Some(fields.get(11)?.parse::<f64>().ok()? + fields.get(12)?.parse::<f64>().ok()?)
    };
    processes.iter().filter_map(of).sum()
}

fn resident_mib(process: u32) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok()).unwrap_or(f64::NAN) / 1024.0
}

/// Half, and ninety-nine in a hundred, took at most this long.
pub(crate) fn spread(each: &[Duration]) -> String {
    let mut each = each.to_vec();
    each.sort_unstable();
    let Some(last) = each.len().checked_sub(1) else { return "none".into() };
    let at = |share: usize| each[last * share / 100].as_secs_f64() * 1e3;
    format!("p50 {:.1} ms, p99 {:.1} ms of {}", at(50), at(99), each.len())
}

pub(crate) fn report(what: &str, evening: &Evening, used: &Used) {
    println!(
        "{what}: {:.0} entries/s; per handover of {ENTRIES}: {}",
        evening.per_s(),
        spread(&evening.each)
    );
    println!(
        "  processor time per entry: server {:.1} us, Postgres {:.1} us; server resident {:.1} MiB",
        used.server_us, used.postgres_us, used.resident_mib
    );
}
