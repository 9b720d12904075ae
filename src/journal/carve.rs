//! Events and evidence found in the bytes of one page of a journal file, whatever became of the rest of the file.
//!
//! A page comes in, candidates go out; nothing is believed here, the chain proves them later (`salvage`). Neither the head of
//! the page nor its pointers are used, so a page of which these are damaged still gives its rows: every place of the page
//! is tried for the head of a record that has the shape of a row of `event`, `evidence` or `index_tip`.
//!
//! After the description of the file format by its makers ("Database File Format", sqlite.org/fileformat2.html: 1.6 B-tree
//! pages, 2.1 record format; read from memory). Journals have no reserved space in their pages.

/// The longest record that is followed, in bytes: far above what an event or the evidence of a reading takes.
const LONGEST: usize = 1 << 26;
/// Length of a hash in hexadecimal.
const HASH: usize = 64;
/// Length of an event's id as text.
const ID: usize = 36;
/// The type of a column that holds a hash as text: 13 + 2 · 64.
const HASH_TYPE: u64 = 141;

/// Something that has the shape of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Found {
    /// A row of `event`; its key is left out where that cannot be read.
    Event {
        /// The key.
        key: Option<u64>,
        /// The canonical bytes.
        body: Vec<u8>,
        /// The stored hash.
        hash: Vec<u8>,
    },
    /// A row of `evidence`.
    Evidence {
        /// The name of the content: its hash.
        sha256: Vec<u8>,
        /// The content.
        content: Vec<u8>,
    },
    /// The row of `index_tip`: where the journal stood when it was written last.
    Tip {
        /// Sequence of the last event.
        seq: u64,
        /// Its hash.
        hash: Vec<u8>,
    },
}

/// Tries every place of a page. `overflow` gives other pages of the file by their number, for rows that are longer than a page.
pub(super) fn carve(page: &[u8], overflow: &dyn Fn(u32) -> Option<Vec<u8>>) -> Vec<Found> {
    let mut found = Vec::new();
    let mut at = 0;
    while at + 3 < page.len() {
        let row = match (page.get(at), page.get(at + 1), page.get(at + 2)) {
            (Some(8..=12), Some(0), Some(0x55)) => event(page, at, overflow),
            (Some(5..=8), Some(0x81), Some(0x0d)) => evidence(page, at, overflow),
            (Some(6), Some(0), Some(1..=9)) => tip(page, at),
            (_, _, Some(b'a'..=b'f' | b'0'..=b'9')) => event_by_id(page, at),
            _ => None,
        };
        found.extend(row);
        at += 1;
    }
    found
}

/// A record of a table: the types of its columns and its whole content.
struct Record {
    types: Vec<u64>,
    content: Vec<u8>,
}

impl Record {
    /// The record whose head begins here, if it has the wanted number of columns.
    fn at(page: &[u8], at: usize, columns: usize, overflow: &dyn Fn(u32) -> Option<Vec<u8>>) -> Option<Self> {
        let head = usize::from(*page.get(at)?);
        let (mut types, mut next) = (Vec::with_capacity(columns), at + 1);
        while next < at + head {
            let (value, length) = varint(page, next)?;
            types.push(value);
            next += length;
        }
        if next != at + head || types.len() != columns {
            return None;
        }
        let mut whole = head;
        for kind in &types {
            whole = whole.checked_add(length(*kind)?)?;
        }
        let content = gather(page, at, whole, overflow)?.split_off(head);
        Some(Self { types, content })
    }

    /// The bytes of each column.
    fn columns(&self) -> Option<Vec<&[u8]>> {
        let mut rest = self.content.as_slice();
        let mut columns = Vec::with_capacity(self.types.len());
        for kind in &self.types {
            let (column, behind) = rest.split_at_checked(length(*kind)?)?;
            columns.push(column);
            rest = behind;
        }
        Some(columns)
    }
}

fn event(page: &[u8], at: usize, overflow: &dyn Fn(u32) -> Option<Vec<u8>>) -> Option<Found> {
    let record = Record::at(page, at, 6, overflow)?;
    if record.types.get(5) != Some(&HASH_TYPE) {
        return None;
    }
    let columns = record.columns()?;
    let whole = usize::from(*page.get(at)?) + record.content.len();
    Some(Found::Event { key: key(page, at, whole), body: columns.get(4)?.to_vec(), hash: columns.get(5)?.to_vec() })
}

fn evidence(page: &[u8], at: usize, overflow: &dyn Fn(u32) -> Option<Vec<u8>>) -> Option<Found> {
    let head = usize::from(*page.get(at)?);
    let name = page.get(at + head..at + head + HASH)?;
    if !name.iter().all(is_hex) {
        return None;
    }
    let record = Record::at(page, at, 2, overflow)?;
    let columns = record.columns()?;
    Some(Found::Evidence { sha256: columns.first()?.to_vec(), content: columns.get(1)?.to_vec() })
}

fn tip(page: &[u8], at: usize) -> Option<Found> {
    let record = Record::at(page, at, 4, &|_| None)?;
    if record.types.get(3) != Some(&HASH_TYPE) {
        return None;
    }
    let columns = record.columns()?;
    let hash = columns.get(3)?;
    let seq = match record.types.get(2)? {
        9 => 1,
        _ => columns.get(2)?.iter().fold(0_u64, |number, byte| number << 8 | u64::from(*byte)),
    };
    hash.iter().all(is_hex).then(|| Found::Tip { seq, hash: hash.to_vec() })
}

/// An event whose record has a damaged head, found by its id: then come its kind, eight bytes of time, its text and its hash.
/// Only one that lies within the page.
fn event_by_id(page: &[u8], at: usize) -> Option<Found> {
    let id = page.get(at..at + ID)?;
    let is_id = id.iter().enumerate().all(|(place, byte)| match place {
        8 | 13 | 18 | 23 => *byte == b'-',
        _ => is_hex(byte),
    });
    if !is_id {
        return None;
    }
    let behind = page.get(at + ID..)?;
    let kind = behind.iter().position(|byte| !matches!(byte, b'a'..=b'z' | b'_'))?;
    let text = behind.get(kind + 8..).filter(|_| kind > 0)?;
    let mut values = serde_json::Deserializer::from_slice(text).into_iter::<serde::de::IgnoredAny>();
    if text.first() != Some(&b'{') || !matches!(values.next(), Some(Ok(_))) {
        return None;
    }
    let end = values.byte_offset();
    let hash = text.get(end..end + HASH).filter(|hash| hash.iter().all(is_hex))?;
    Some(Found::Event { key: None, body: text.get(..end)?.to_vec(), hash: hash.to_vec() })
}

/// The key of the row whose record begins here: the number before it, behind the length of the record.
fn key(page: &[u8], at: usize, whole: usize) -> Option<u64> {
    (2..=18_usize.min(at)).find_map(|back| {
        let (payload, first) = varint(page, at - back)?;
        let (key, second) = varint(page, at - back + first)?;
        (first + second == back && usize::try_from(payload) == Ok(whole)).then_some(key)
    })
}

/// All bytes of a record: those in its page, and those on pages of their own.
fn gather(page: &[u8], at: usize, whole: usize, overflow: &dyn Fn(u32) -> Option<Vec<u8>>) -> Option<Vec<u8>> {
    if whole > LONGEST {
        return None;
    }
    let here = local(page.len(), whole)?;
    let mut bytes = page.get(at..at + here)?.to_vec();
    let mut next = page.get(at + here..at + here + 4).map(number);
    while bytes.len() < whole {
        let other = overflow(next.filter(|next| *next != 0)?)?;
        next = other.get(..4).map(number);
        let part = other.get(4..)?;
        bytes.extend(part.iter().take(whole - bytes.len()));
    }
    Some(bytes)
}

/// How many bytes of a record of a table lie in its own page.
fn local(page: usize, whole: usize) -> Option<usize> {
    let most = page.checked_sub(35)?;
    if whole <= most {
        return Some(whole);
    }
    let least = (page - 12) * 32 / 255 - 23;
    let wanted = least + (whole - least) % (page - 4);
    Some(if wanted <= most { wanted } else { least })
}

/// Bytes that a column of this type takes; `None` for types that are kept for the library itself.
fn length(kind: u64) -> Option<usize> {
    match kind {
        0 | 8 | 9 => Some(0),
        1..=4 => usize::try_from(kind).ok(),
        5 => Some(6),
        6 | 7 => Some(8),
        10 | 11 => None,
        _ => usize::try_from((kind - 12) / 2).ok(),
    }
}

/// A number of one to nine bytes, seven bits in each but the ninth; the number and how many.
fn varint(page: &[u8], at: usize) -> Option<(u64, usize)> {
    let mut value = 0_u64;
    for length in 1..=8 {
        let byte = *page.get(at + length - 1)?;
        value = value << 7 | u64::from(byte & 0x7f);
        if byte & 0x80 == 0 {
            return Some((value, length));
        }
    }
    Some((value << 8 | u64::from(*page.get(at + 8)?), 9))
}

fn number(bytes: &[u8]) -> u32 {
    bytes.iter().fold(0, |number, byte| number << 8 | u32::from(*byte))
}

fn is_hex(byte: &u8) -> bool {
    matches!(byte, b'0'..=b'9' | b'a'..=b'f')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_fills_its_page_as_far_as_the_format_says() {
        // "Database File Format", 1.6: X is U - 35, M is ((U - 12) * 32 / 255) - 23, K is M + ((P - M) % (U - 4)).
        assert_eq!(local(4096, 4061), Some(4061));
        assert_eq!(local(4096, 4062), Some(489));
        assert_eq!(local(4096, 489 + 4092 + 100), Some(589));
    }

    #[test]
    fn numbers_have_seven_bits_in_a_byte() {
        assert_eq!(varint(&[0x7f], 0), Some((127, 1)));
        assert_eq!(varint(&[0x81, 0x0d], 0), Some((141, 2)));
        assert_eq!(varint(&[0xff; 9], 0), Some((u64::MAX, 9)));
        assert_eq!(varint(&[0x81], 0), None);
    }

    #[test]
    fn an_event_is_found_by_its_id_when_the_head_of_its_record_is_damaged() {
        let id = b"018bcfe5-6800-7000-8000-000000000001";
        let page =
            [b"\x0b\x01\x55", id.as_slice(), b"club_opened", &[0; 8], b"{\"seq\":1}", &[b'a'; 64], b"rest"].concat();
        let found = carve(&page, &|_| None);
        assert_eq!(found, [Found::Event { key: None, body: b"{\"seq\":1}".to_vec(), hash: vec![b'a'; 64] }]);
    }
}
