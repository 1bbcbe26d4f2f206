//! Whether a document is a whole PDF and nothing else besides: ISO 32000-2, 7.5.

use super::Unfit;

/// Its end is looked for in this many bytes.
const TAIL_BYTES: usize = 2048;

/// It begins and ends like one, and its end points into it.
pub(super) fn check(sent: &[u8]) -> Result<(), Unfit> {
    let tail = sent.get(sent.len().saturating_sub(TAIL_BYTES)..).unwrap_or_default();
    let end = find_last(tail, b"%%EOF").ok_or_else(Unfit::cut)?;
    // What follows the end of a document would be read by something that is no reader of documents.
    let after = tail.get(end + 5..).unwrap_or_default();
    if !after.iter().all(|byte| byte.is_ascii_whitespace() || *byte == 0) {
        return Err(Unfit::unreadable());
    }
    let before = tail.get(..end).unwrap_or_default();
    let start = find_last(before, b"startxref").ok_or_else(Unfit::unreadable)?;
    let digits = before.get(start + 9..).unwrap_or_default().trim_ascii();
    let offset: usize =
        std::str::from_utf8(digits).ok().and_then(|text| text.parse().ok()).ok_or_else(Unfit::unreadable)?;
    let table = sent.get(offset..).unwrap_or_default().trim_ascii_start();
    // A table, or an object that holds one.
    let stream = || table.iter().take(10).take_while(|byte| byte.is_ascii_digit()).count() > 0;
    if table.starts_with(b"xref") || stream() { Ok(()) } else { Err(Unfit::unreadable()) }
}

fn find_last(within: &[u8], what: &[u8]) -> Option<usize> {
    within.windows(what.len()).rposition(|window| window == what)
}
