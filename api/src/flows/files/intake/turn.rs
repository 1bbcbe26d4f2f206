//! How a picture is turned: the one thing of a camera's notes that the picture cannot be shown right
//! without (Exif 3.0, tag 274). It is read, and written anew on its own.

use bytes::Bytes;
use exif::experimental::Writer;
use exif::{Field, In, Reader, Tag, Value};
use std::io::Cursor;

/// Which of the eight ways; `None` when it says nothing, or that the picture stands upright.
pub(super) fn read(notes: &[u8]) -> Option<u16> {
    let notes = Reader::new().continue_on_error(true).read_raw(notes.to_vec());
    let notes = notes.or_else(|error| error.distill_partial_result(|_| {})).ok()?;
    let way = notes.get_field(Tag::Orientation, In::PRIMARY)?.value.get_uint(0)?;
    u16::try_from(way).ok().filter(|way| (2..=8).contains(way))
}

/// Notes that say only this.
pub(super) fn written(way: u16) -> Option<Bytes> {
    let field = Field { tag: Tag::Orientation, ifd_num: In::PRIMARY, value: Value::Short(vec![way]) };
    let mut writer = Writer::new();
    writer.push_field(&field);
    let mut notes = Cursor::new(Vec::new());
    writer.write(&mut notes, false).ok()?;
    Some(notes.into_inner().into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_turn_that_matters_is_kept() {
        for way in 2..=8 {
            assert_eq!(written(way).and_then(|notes| read(&notes)), Some(way));
        }
        for way in [0, 1, 9, u16::MAX] {
            assert_eq!(written(way).and_then(|notes| read(&notes)), None);
        }
        assert_eq!(read(b"nonsense"), None);
    }
}
