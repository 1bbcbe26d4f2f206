//! What a sender calls a file: shown when it is fetched, and nothing else.

use super::MediaType;

/// The longest name that is read, in characters.
pub(super) const LONGEST_SENT: usize = 1000;
/// The longest name that is kept, in characters.
const LONGEST: usize = 120;

/// The name without what could mislead: control characters, marks that turn the direction of writing
/// round, what separates folders, and quotes. Never refused: a photo is not lost for its name.
pub(super) fn cleaned(name: &str) -> Option<String> {
    let kept: String = name.chars().filter(|c| !is_misleading(*c)).take(LONGEST).collect();
    let kept = kept.trim_matches(|c: char| c == '.' || c.is_whitespace());
    (!kept.is_empty()).then(|| kept.to_owned())
}

fn is_misleading(c: char) -> bool {
    let turns = matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{61c}');
    c.is_control()
        || turns
        || matches!(c, '/' | '\\' | ':' | '"' | '\'' | '<' | '>' | '|' | '*' | '?' | '%' | ';')
}

/// What a fetched file is called: it always ends as its type does.
pub(super) fn shown(name: Option<&str>, media_type: MediaType) -> String {
    let ending = media_type.ending();
    let name = name.unwrap_or("file");
    let ends = name.rsplit_once('.').is_some_and(|(_, last)| last.eq_ignore_ascii_case(ending));
    if ends { name.to_owned() } else { format!("{name}.{ending}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_only_ever_data() {
        for (sent, kept) in [
            ("../../etc/passwd", Some("etcpasswd")),
            ("C:\\Windows\\x.jpg", Some("CWindowsx.jpg")),
            ("a\0b\r\nSet-Cookie: x", Some("abSet-Cookie x")),
            ("\u{202e}gpj.exe", Some("gpj.exe")),
            ("hood \u{e9} \u{1f9fd}.jpg", Some("hood \u{e9} \u{1f9fd}.jpg")),
            (" . ", None),
            ("", None),
        ] {
            assert_eq!(cleaned(sent).as_deref(), kept, "{sent:?}");
        }
        assert_eq!(cleaned(&"x".repeat(300)).map(|name| name.len()), Some(LONGEST));
    }

    #[test]
    fn a_fetched_file_ends_as_its_type_does() {
        assert_eq!(shown(Some("hood.JPG"), MediaType::Jpeg), "hood.JPG");
        assert_eq!(shown(Some("hood.exe"), MediaType::Jpeg), "hood.exe.jpg");
        assert_eq!(shown(None, MediaType::Pdf), "file.pdf");
    }
}
