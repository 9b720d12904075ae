//! The write-ahead log of a journal: which pages it holds, and how far it holds together.
//!
//! The library reads a log as far as it finds it whole and ignores the rest without a word; what it ignores is named here.
//!
//! After the description of the file format by its makers ("Database File Format", sqlite.org/fileformat2.html, 4.1 to 4.3;
//! from memory).

/// Bytes before the first frame.
const HEAD: usize = 32;
/// Bytes before the page of a frame.
const FRAME_HEAD: usize = 24;

/// A log, taken apart.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Log {
    /// Number of each page and where it begins, in the order of writing; those behind a break and of earlier rounds, too.
    pub(super) pages: Vec<(u32, usize)>,
    /// What is wrong with it.
    pub(super) broken: Option<String>,
}

/// The size of the pages of a log, as its head says it.
pub(super) fn page_size(log: &[u8]) -> usize {
    usize::try_from(number(log, 8)).unwrap_or_default()
}

/// Takes a log apart. `page` is the size of its pages.
pub(super) fn read(log: &[u8], page: usize) -> Log {
    if log.is_empty() {
        return Log::default();
    }
    let frame_size = FRAME_HEAD + page;
    let frames: Vec<&[u8]> = log.get(HEAD..).unwrap_or_default().chunks_exact(frame_size).collect();
    let pages = frames.iter().enumerate().map(|(n, frame)| (number(frame, 0), HEAD + n * frame_size + FRAME_HEAD));
    Log { pages: pages.collect(), broken: broken(log, &frames, page) }
}

fn broken(log: &[u8], frames: &[&[u8]], page: usize) -> Option<String> {
    let Some(head) = log.get(..HEAD) else { return Some("its head is cut off".to_owned()) };
    let is_big = match number(head, 0) {
        0x377f_0682 => false,
        0x377f_0683 => true,
        _ => return Some("its head is damaged".to_owned()),
    };
    let mut sum = checksum(is_big, (0, 0), head.get(..24)?);
    if sum != (number(head, 24), number(head, 28)) || usize::try_from(number(head, 8)) != Ok(page) {
        return Some("its head is damaged".to_owned());
    }
    let salts = (number(head, 16), number(head, 20));
    // Frames of an earlier round have two other salts; a changed bit leaves one.
    let is_of_round = |frame: &&&[u8]| number(frame, 8) == salts.0 || number(frame, 12) == salts.1;
    let mut ends_whole = true;
    for (n, frame) in frames.iter().enumerate() {
        let after = checksum(is_big, checksum(is_big, sum, frame.get(..8)?), frame.get(FRAME_HEAD..)?);
        let is_whole =
            (number(frame, 8), number(frame, 12)) == salts && after == (number(frame, 16), number(frame, 20));
        if !is_whole {
            let rest = frames.get(n..)?.iter().filter(is_of_round).count();
            if rest > 0 {
                return Some(format!("it does not hold from page {} of {} on", n + 1, n + rest));
            }
            break;
        }
        sum = after;
        ends_whole = number(frame, 4) != 0;
    }
    let is_cut = !(log.len() - HEAD).is_multiple_of(FRAME_HEAD + page);
    (is_cut || !ends_whole).then(|| "it ends in the middle of what was being written".to_owned())
}

/// The checksum of the format: two running sums over pairs of 32-bit numbers.
fn checksum(is_big: bool, start: (u32, u32), bytes: &[u8]) -> (u32, u32) {
    let word = |four: &[u8]| {
        let big = number(four, 0);
        if is_big { big } else { big.swap_bytes() }
    };
    bytes.chunks_exact(8).fold(start, |(first, second), pair| {
        let (one, two) = pair.split_at(4);
        let first = first.wrapping_add(word(one)).wrapping_add(second);
        (first, second.wrapping_add(word(two)).wrapping_add(first))
    })
}

/// Four bytes as a number, the highest first; 0 where there are none.
fn number(bytes: &[u8], at: usize) -> u32 {
    bytes.get(at..at + 4).map_or(0, |four| four.iter().fold(0, |number, byte| number << 8 | u32::from(*byte)))
}
