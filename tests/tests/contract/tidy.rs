//! The house checks itself: what may stand in which room, read from our own sources.

use std::fs;
use std::path::{Path, PathBuf};

/// Lines after which a file holds a second thing.
const LINES: usize = 600;

struct Source {
    path: String,
    text: String,
}

impl Source {
    /// Lines of code, comments taken away, with their numbers.
    fn code(&self) -> impl Iterator<Item = (usize, &str)> {
        self.text
            .lines()
            .enumerate()
            .map(|(i, line)| (i + 1, line))
            .filter(|(_, line)| !line.trim_start().starts_with("//"))
    }

    /// Places whose code has the word.
    fn places(&self, word: &str) -> Vec<String> {
        let hits = self.code().filter(|(_, line)| has_word(line, word));
        hits.map(|(n, line)| format!("{}:{n}: {}", self.path, line.trim())).collect()
    }
}

/// Whether `word` stands in `line` on its own, not as part of a longer name.
fn has_word(line: &str, word: &str) -> bool {
    let part = |c: Option<char>| c.is_some_and(|c| c.is_alphanumeric() || c == '_');
    line.match_indices(word)
        .any(|(at, _)| !part(line[..at].chars().next_back()) && !part(line[at + word.len()..].chars().next()))
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the checkout").to_owned()
}

/// Every Rust source below some folders of the checkout.
fn sources(folders: &[&str]) -> Vec<Source> {
    let mut found = Vec::new();
    for folder in folders {
        walk(&root().join(folder), &mut found);
    }
    assert!(!found.is_empty(), "nothing to read in {folders:?}");
    found
}

fn walk(folder: &Path, into: &mut Vec<Source>) {
    let mut entries: Vec<_> =
        fs::read_dir(folder).expect("a folder").map(|e| e.expect("an entry").path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() && !path.ends_with("target") && !path.ends_with("node_modules") {
            walk(&path, into);
        } else if path.extension().is_some_and(|ext| ext == "rs") {
            let text = fs::read_to_string(&path).expect("a source");
            let path = path.strip_prefix(root()).expect("inside").display().to_string();
            into.push(Source { path, text });
        }
    }
}

fn none(offences: &[String], rule: &str) {
    assert!(offences.is_empty(), "{rule}:\n{}", offences.join("\n"));
}

/// Where a word stands outside the places that may use it.
fn outside(folders: &[&str], words: &[&str], allowed: &[&str]) -> Vec<String> {
    sources(folders)
        .iter()
        .filter(|source| !allowed.iter().any(|prefix| source.path.starts_with(prefix)))
        .flat_map(|source| words.iter().flat_map(|word| source.places(word)).collect::<Vec<_>>())
        .collect()
}

#[test]
fn only_the_store_knows_sql() {
    let words = ["diesel", "diesel_async", "diesel_migrations", "sql_query"];
    none(&outside(&["api/src", "core/src"], &words, &["api/src/store/"]), "diesel belongs in api/src/store/");
}

#[test]
fn only_http_knows_status_codes() {
    none(&outside(&["api/src"], &["StatusCode"], &["api/src/http/"]), "status codes belong in api/src/http/");
    let rooms = ["api/src/flows", "api/src/store", "api/src/auth"];
    none(
        &outside(&rooms, &["actix_web", "HttpRequest", "HttpResponse"], &[]),
        "actix belongs in api/src/http/",
    );
}

#[test]
fn rooms_look_down_the_house_and_never_up() {
    none(&outside(&["api/src/flows"], &["crate::http", "super::http"], &[]), "flows never look at http");
    none(&outside(&["api/src/store"], &["crate::http", "crate::sync"], &[]), "the store never looks up");
    none(
        &outside(&["api/src/auth"], &["crate::http", "crate::store", "crate::flows"], &[]),
        "auth asks nobody",
    );
    none(
        &outside(&["core/src"], &["dropwise", "tokio", "std::fs", "std::net", "std::env"], &[]),
        "core is pure",
    );
}

#[test]
fn only_the_clock_reads_the_time() {
    let words = ["Utc::now", "Local::now", "SystemTime::now"];
    none(&outside(&["api/src", "core/src"], &words, &["api/src/clock.rs"]), "time is handed in");
    none(&outside(&["core/src"], &["Instant::now"], &[]), "core knows no time");
}

#[test]
fn exact_arithmetic_has_no_floats() {
    none(&outside(&["core/src/exact"], &["f64", "f32", "to_f64", "from_f64"], &[]), "exact has no floats");
}

#[test]
fn no_sql_is_put_together_from_text() {
    // Files that write SQL out around a value that cannot be bound, how often, and why. May only shrink.
    let known = [
        // `set local` takes no parameters; the fleet's id is typed.
        ("api/src/store/db.rs", 1),
        // Lock numbers are constants of ours; `alter role` takes no parameters, its password is quoted.
        ("api/src/store/migrate.rs", 3),
    ];
    let verbs =
        ["select ", "insert ", "update ", "delete ", "alter ", "create ", "set local ", "set ", "grant "];
    let mut offences = Vec::new();
    for source in sources(&["api/src"]) {
        let found: Vec<String> = source
            .code()
            .filter(|(_, line)| {
                let lower = line.to_lowercase();
                let formatted =
                    ["format!(", "push_str(&", "write!(", "concat("].iter().any(|m| lower.contains(m));
                formatted
                    && lower.contains('{')
                    && verbs.iter().any(|verb| {
                        lower.split('"').skip(1).step_by(2).any(|text| {
                            text.starts_with(verb)
                                || text.contains(&format!("; {verb}"))
                                || text.contains(&format!(" {verb}from"))
                        })
                    })
            })
            .map(|(n, line)| format!("{}:{n}: {}", source.path, line.trim()))
            .collect();
        let allowed = known.iter().find(|(path, _)| *path == source.path).map_or(0, |(_, count)| *count);
        if found.len() > allowed {
            offences.extend(found);
        }
    }
    none(&offences, "bind parameters instead of writing them into SQL");
    none(
        &outside(&["api/src"], &["sql_query"], &["api/src/store/statement.rs"]),
        "a typed statement! instead",
    );
}

#[test]
fn files_stay_small_and_say_what_they_are_for() {
    let mut long = Vec::new();
    let mut silent = Vec::new();
    for source in sources(&["api", "core", "tests"]) {
        let lines = source.text.lines().count();
        if lines > LINES && source.path != "api/src/store/schema.rs" {
            long.push(format!("{}: {lines} lines", source.path));
        }
        let room = source.path.ends_with("/mod.rs") || !source.path.starts_with("core/");
        if room && !source.text.starts_with("//!") {
            silent.push(source.path.clone());
        }
    }
    none(&long, "a file has one reason to exist");
    none(&silent, "a file opens with its purpose");
}

#[test]
fn the_top_of_the_checkout_is_as_agreed() {
    let mut found: Vec<String> = fs::read_dir(root())
        .expect("the checkout")
        .map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned())
        .filter(|name| {
            !name.starts_with('.') && name != "target" && name != "Cargo.lock" && name != "rustfmt.toml"
        })
        .collect();
    found.retain(|name| {
        ![
            "Cargo.toml",
            "README.md",
            "DEVELOPERS.md",
            "api",
            "core",
            "migrations",
            "openapi",
            "tests",
            "deploy",
        ]
        .contains(&name.as_str())
    });
    none(&found, "the top level is fixed");
}
