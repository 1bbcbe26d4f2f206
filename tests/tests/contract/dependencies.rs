//! Libraries that must never fall back to a version with a known fault, read from `Cargo.lock`.

use std::path::Path;

/// Name, oldest version allowed, and why.
const FLOORS: [(&str, [u64; 3], &str); 1] = [(
    "jsonwebtoken",
    [10, 3, 0],
    "before, a claim of the wrong type counted as absent (its CHANGELOG, 10.3.0)",
)];

/// What the lock file says that is below a floor.
fn below(lock: &str) -> Vec<String> {
    let packages: Vec<(&str, [u64; 3])> = lock.split("[[package]]").filter_map(package).collect();
    let mut found = Vec::new();
    for (name, floor, why) in FLOORS {
        let versions: Vec<_> = packages.iter().filter(|(named, _)| *named == name).collect();
        if versions.is_empty() {
            found.push(format!("{name} is not in the lock file: take its floor away"));
        }
        let low = versions.iter().filter(|(_, version)| *version < floor);
        found.extend(low.map(|(_, version)| format!("{name} {version:?} is below {floor:?}: {why}")));
    }
    found
}

fn package(text: &str) -> Option<(&str, [u64; 3])> {
    let field = |name: &str| {
        text.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(" = \"")?.strip_suffix('"'))
    };
    let plain = field("version")?.split(['-', '+']).next()?;
    let numbers: Vec<u64> = plain.split('.').filter_map(|part| part.parse().ok()).collect();
    Some((field("name")?, numbers.try_into().ok()?))
}

#[test]
fn no_library_falls_below_the_version_that_mended_it() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../Cargo.lock");
    let lock = std::fs::read_to_string(path).expect("Cargo.lock");
    assert_eq!(below(&lock), Vec::<String>::new());
    // The same question must see what it is for.
    let stanza = |version: &str| format!("[[package]]\nname = \"jsonwebtoken\"\nversion = \"{version}\"\n");
    for version in ["9.3.1", "10.2.0", "10.2.9-beta.1"] {
        assert_eq!(below(&stanza(version)).len(), 1, "{version} was let through");
        assert_eq!(
            below(&format!("{lock}\n{}", stanza(version))).len(),
            1,
            "a second {version} was let through"
        );
    }
    for version in ["10.3.0", "10.10.0", "11.1.0"] {
        assert!(below(&stanza(version)).is_empty(), "{version} was refused");
    }
    assert_eq!(below("").len(), 1);
}
