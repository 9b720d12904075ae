//! What every target checks, whatever the bytes: each byte is told once and in order, any split gives the same items, and
//! nothing of a refused run is a number.

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use benchscribe::instrument::format::{Decoder, Format, Item};

/// An item, owned: its place, its bytes, and the numbers of a frame.
#[derive(Debug, PartialEq)]
pub struct Told {
    at_byte: u64,
    raw: Vec<u8>,
    said: Option<String>,
}

fn told(item: Item<'_>) -> Told {
    match item {
        Item::Frame(frame, raw) => Told { at_byte: frame.at_byte, raw: raw.to_vec(), said: Some(format!("{frame:?}")) },
        Item::Refused { at_byte, raw, .. } => Told { at_byte, raw: raw.to_vec(), said: None },
    }
}

/// Decodes in pieces of this length.
pub fn decode(format: &Arc<Format>, bytes: &[u8], piece: usize) -> Vec<Told> {
    let mut all = Vec::new();
    let mut decoder = Decoder::new(Arc::clone(format));
    for piece in bytes.chunks(piece.max(1)) {
        decoder.push(piece, &mut |item| all.push(told(item)));
    }
    decoder.finish(&mut |item| all.push(told(item)));
    all
}

/// Checks the families of these names; the first byte chooses one, the second how the stream is split.
pub fn check(families: &[&str], input: &[u8]) {
    let [choice, piece, bytes @ ..] = input else { return };
    let Some(family) = families.get(usize::from(*choice) % families.len()) else { return };
    check_format(built_in(family), bytes, usize::from(*piece));
}

/// A built-in format, read once.
fn built_in(family: &str) -> &'static Arc<Format> {
    static ALL: LazyLock<BTreeMap<&str, Arc<Format>>> = LazyLock::new(|| {
        let read = |family| (family, Arc::new(Format::built_in(family).expect("a built-in family")));
        Format::families().into_iter().map(read).collect()
    });
    &ALL[family]
}

/// Checks one format.
pub fn check_format(format: &Arc<Format>, bytes: &[u8], piece: usize) {
    let whole = decode(format, bytes, bytes.len());
    assert_eq!(whole, decode(format, bytes, piece), "another split, other items");
    let mut next = 0;
    for told in &whole {
        let at = usize::try_from(told.at_byte).expect("within the input");
        assert!(at >= next, "bytes told twice");
        assert_eq!(bytes.get(at..at + told.raw.len()), Some(told.raw.as_slice()), "bytes that were not sent");
        next = at + told.raw.len();
        if let Some(said) = &told.said {
            // A frame stands by itself: its bytes alone say the same.
            let alone = decode(format, &told.raw, told.raw.len());
            let [alone] = alone.as_slice() else { panic!("{said}: alone it is {alone:?}") };
            let same = |text: &str| text.split_once("value").map(|(_, rest)| rest.to_owned());
            assert_eq!(alone.said.as_deref().and_then(same), same(said));
        }
    }
}
