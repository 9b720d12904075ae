//! Matches the bytes of a frame against the layouts of a family.
//!
//! In: the bytes between two frame limits. Out: which field stands where, or the place where it went wrong.
//! Absent: meaning (`evaluate`) and the stream (`decoder`).

use super::field::{ByteClass, Field, Repeat};
use super::meaning::Meaning;
use super::refusal::Refusal;

/// One shape a frame of the family can have.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Layout {
    pub(crate) fields: Vec<Field>,
    /// What a frame of this shape says by being of this shape.
    pub(crate) says: Vec<Meaning>,
    /// The first channel is the value, too.
    pub(crate) value_from_channels: bool,
}

/// Most fields with a meaning in one frame, repeats counted each time.
const MOST_SPANS: usize = 64;

/// Steps after which a match is given up, so that no bytes can make the matcher slow.
const MOST_STEPS: u32 = 20_000;

/// A field and the bytes it took.
#[derive(Clone, Copy)]
pub(crate) struct Span<'f> {
    pub(crate) field: &'f Field,
    pub(crate) start: usize,
    pub(crate) end: usize,
}

/// The fields of a frame that matched, in order.
pub(crate) struct Spans<'f> {
    length: usize,
    entries: [Option<Span<'f>>; MOST_SPANS],
}

impl<'f> Spans<'f> {
    fn push(&mut self, span: Span<'f>) -> bool {
        let Some(entry) = self.entries.get_mut(self.length) else { return false };
        *entry = Some(span);
        self.length += 1;
        true
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = Span<'f>> {
        self.entries.iter().take(self.length).filter_map(|entry| *entry)
    }

    /// Bits of the frame that its layout pins down.
    pub(crate) fn pinned_bits(&self) -> u32 {
        self.iter().map(|span| span.field.pinned_bits(span.end - span.start)).sum()
    }
}

/// Why no layout matched: what got furthest.
#[derive(Default)]
pub(crate) struct Failure {
    furthest: usize,
    unit_wanted: bool,
    check: Option<Refusal>,
}

impl Failure {
    /// The reason in words' form.
    pub(crate) fn reason(&self, bytes: &[u8], alphabet: &ByteClass) -> Refusal {
        let foreign = bytes.iter().enumerate().find(|(_, byte)| !alphabet.holds(**byte));
        match (foreign, self.check) {
            (Some((at, byte)), _) => Refusal::ForeignByte { at, byte: *byte },
            (None, Some(check)) => check,
            (None, None) if self.unit_wanted => Refusal::UnknownUnit { at: self.furthest },
            (None, None) => Refusal::NoLayout { at: self.furthest },
        }
    }
}

/// What must follow a field.
enum Rest<'f, 'c> {
    End,
    Fields(&'f [Field], &'c Rest<'f, 'c>),
    Again(&'f Repeat, usize, &'c Rest<'f, 'c>),
}

struct Matcher<'f, 'b> {
    bytes: &'b [u8],
    spans: Spans<'f>,
    steps: u32,
    failure: &'b mut Failure,
}

/// Matches all of `bytes` with one layout.
pub(crate) fn matches<'f>(layout: &'f Layout, bytes: &[u8], failure: &mut Failure) -> Option<Spans<'f>> {
    let spans = Spans { length: 0, entries: [None; MOST_SPANS] };
    let mut matcher = Matcher { bytes, spans, steps: 0, failure };
    matcher.run(&Rest::Fields(&layout.fields, &Rest::End), 0).then_some(matcher.spans)
}

impl<'f> Matcher<'f, '_> {
    fn run(&mut self, rest: &Rest<'f, '_>, at: usize) -> bool {
        self.steps += 1;
        if self.steps > MOST_STEPS {
            return false;
        }
        match rest {
            Rest::End => {
                let whole = at == self.bytes.len();
                if !whole {
                    self.fail(at, false);
                }
                whole
            }
            Rest::Fields(fields, next) => match fields.split_first() {
                None => self.run(next, at),
                Some((field, tail)) => self.field(field, &Rest::Fields(tail, next), at),
            },
            Rest::Again(repeat, count, next) => {
                let more = *count < repeat.count.most
                    && self.bytes.get(at..).unwrap_or_default().starts_with(&repeat.separator);
                (more && self.group(repeat, *count, next, at + repeat.separator.len()))
                    || (*count >= repeat.count.least && self.run(next, at))
            }
        }
    }

    fn group(&mut self, repeat: &'f Repeat, count: usize, next: &Rest<'f, '_>, at: usize) -> bool {
        repeat.groups.iter().any(|group| self.run(&Rest::Fields(group, &Rest::Again(repeat, count + 1, next)), at))
    }

    fn field(&mut self, field: &'f Field, next: &Rest<'f, '_>, at: usize) -> bool {
        let rest = self.bytes.get(at..).unwrap_or_default();
        let held = self.spans.length;
        let mut stood = false;
        let matched = match field {
            Field::Repeat(repeat) => {
                stood = true;
                self.group(repeat, 0, next, at)
            }
            Field::Check(check) => {
                let computed = check.computed(self.bytes, at);
                let sent = rest.get(..check.width()).and_then(|bytes| check.sent(bytes));
                stood = computed.is_some() && sent.is_some();
                match (computed, sent) {
                    (Some(computed), Some(sent)) if computed == sent => self.take(field, at, check.width(), next),
                    (Some(computed), Some(sent)) => {
                        self.failure.check = Some(Refusal::CheckFailed { computed, sent });
                        false
                    }
                    _ => false,
                }
            }
            _ => field.lengths(rest, &mut |length| {
                stood = true;
                self.spans.length = held;
                self.take(field, at, length, next)
            }),
        };
        if !matched {
            self.spans.length = held;
            if !stood {
                self.fail(at + common_prefix(field, rest), matches!(field, Field::Words(words) if words.is_unit));
            }
        }
        matched
    }

    fn take(&mut self, field: &'f Field, at: usize, length: usize, next: &Rest<'f, '_>) -> bool {
        self.spans.push(Span { field, start: at, end: at + length }) && self.run(next, at + length)
    }

    fn fail(&mut self, at: usize, unit_wanted: bool) {
        if at > self.failure.furthest {
            self.failure.furthest = at;
            self.failure.unit_wanted = unit_wanted;
        }
    }
}

/// How many bytes of a literal were right before it went wrong.
fn common_prefix(field: &Field, rest: &[u8]) -> usize {
    match field {
        Field::Literal(text) => text.iter().zip(rest).take_while(|(wanted, found)| wanted == found).count(),
        _ => 0,
    }
}
