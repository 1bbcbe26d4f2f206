//! Who works in the invented fleet. Nobody real; their passwords are for trying out only.

/// What the fleet's members type to sign in.
pub const FLEET_HANDLE: &str = "kerbside";
/// The fleet on papers.
pub(super) const FLEET_NAME: &str = "Kerbside Harrowmere (demo only)";
/// Its currency.
pub(super) const CURRENCY: &str = "USD";
/// Its zone, of the IANA database.
pub const ZONE: chrono_tz::Tz = chrono_tz::America::Denver;

/// The owner: handle and name.
pub(super) const OWNER: (&str, &str) = ("owner", "Anwick Harrowmere");
/// The office: handle, name, wage.
pub(super) const OFFICE: (&str, &str, f64) = ("office", "Sefa Quillmarsh", 23.5);

/// Technicians: handle, name, wage, number of their van.
pub(super) const TECHNICIANS: [(&str, &str, f64, usize); 5] = [
    ("tovi", "Tovi Castergate", 24.0, 0),
    ("lune", "Lune Wickerby", 21.5, 0),
    ("bram", "Bram Oxtervale", 25.5, 1),
    ("ovi", "Ovi Thistlecombe", 21.0, 1),
    ("dorrin", "Dorrin Peltway", 26.0, 2),
];

/// Vans.
pub(super) const VANS: [&str; 3] = ["Van Heron", "Van Plover", "Van Avocet"];

/// The password of a member: fixed, printed, and fit for a demo only.
pub(super) fn password(handle: &str) -> String {
    format!("demo only: {handle} at the kerb")
}

/// Clients' names, put together from two parts so that nobody is meant.
pub(super) const FIRST: [&str; 12] =
    ["Ilva", "Corm", "Senn", "Brisa", "Tald", "Merrow", "Odi", "Fennick", "Lusk", "Perrin", "Yarra", "Wend"];
/// The second part.
pub(super) const LAST: [&str; 12] = [
    "Applegarthe",
    "Dunmoss",
    "Eskerby",
    "Fallowick",
    "Gorsedale",
    "Hexamoor",
    "Inglestow",
    "Kelderby",
    "Marrick-Thorne",
    "Nettlecot",
    "Ravensike",
    "Stonebeck",
];
/// What vehicles look like.
pub(super) const LOOKS: [&str; 8] =
    ["grey", "black", "white", "dark blue", "red", "silver", "green", "pearl white"];
