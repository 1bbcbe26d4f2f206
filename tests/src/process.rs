//! Processes of our own: signals to them, and their children.

use std::process::{Command, Stdio};

/// Sends a signal by name (`TERM`, `STOP` …) to one process that a test started.
pub fn signal(process: u32, name: &str) {
    // Whoever has ended meanwhile needs no signal, and no word about it.
    let mut kill = Command::new("kill");
    let _ = kill.arg(format!("-{name}")).arg(process.to_string()).stderr(Stdio::null()).status();
}

/// A process and all its children, as `/proc` lists them now.
#[must_use]
pub fn family(parent: u32) -> Vec<u32> {
    let mut found = vec![parent];
    let Ok(entries) = std::fs::read_dir("/proc") else { return found };
    for entry in entries.filter_map(Result::ok) {
        let Some(id) = entry.file_name().to_str().and_then(|name| name.parse().ok()) else { continue };
        let Ok(stat) = std::fs::read_to_string(entry.path().join("stat")) else { continue };
        // The name in brackets may hold spaces; the parent is the second field after it.
        let parent_of = stat.rsplit(')').next().and_then(|rest| rest.split_whitespace().nth(1)?.parse().ok());
        if parent_of == Some(parent) {
            found.push(id);
        }
    }
    found
}
