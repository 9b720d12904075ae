//! Cuts a stream of bytes into candidates for frames.
//!
//! In: the bytes that wait, and whether the line has fallen silent. Out: what to do with them. A family's framing
//! is one of three: an end mark, a length, or silence, each with or without start marks. Absent: the buffer and
//! the meaning of a frame, which are the decoder's; the clock, which is the port's.

use crate::instrument::format::Refusal;

/// How the frames of a family are told apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Framing {
    /// What a frame may begin with; empty when nothing marks its beginning.
    pub(crate) starts: Vec<Vec<u8>>,
    /// What limits a frame.
    pub(crate) limit: Limit,
    /// Bytes that may stand between frames and mean nothing.
    pub(crate) between: Vec<u8>,
    /// A frame counts only when the next one, or silence, follows it.
    pub(crate) followed_by_start: bool,
    /// Longest frame, in bytes: no more than this is ever kept waiting for its end.
    pub(crate) longest: usize,
    /// Silence after which a frame that is not whole never will be, in milliseconds.
    pub(crate) idle_ms: u32,
}

/// Where a frame ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Limit {
    /// Behind these bytes and `tail` more.
    End { mark: Vec<u8>, tail: usize },
    /// After so many bytes.
    Length(usize),
    /// After the number of bytes that the byte at `byte` gives, and `plus` more.
    LengthAt { byte: usize, plus: usize, or: Option<FixedWhen> },
    /// When the line falls silent.
    Silence,
}

/// A length that holds where a bit of a byte is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct FixedWhen {
    pub(crate) byte: usize,
    pub(crate) mask: u8,
    pub(crate) length: usize,
}

/// What to do with the bytes that wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Step {
    /// Nothing before another byte or a silence.
    Wait,
    /// The first bytes, so many, may be a frame.
    Candidate(usize),
    /// The first bytes, so many, are no frame.
    Discard(usize, Refusal),
    /// The first bytes, so many, mean nothing and are no fault.
    Skip(usize),
}

impl Framing {
    /// The next step for the bytes that wait. `silent`: nothing follows; `clean`: a frame may begin at the first byte.
    pub(crate) fn step(&self, waiting: &[u8], silent: bool, clean: bool) -> Step {
        let Some(first) = waiting.first() else { return Step::Wait };
        if clean && self.between.contains(first) {
            return Step::Skip(1);
        }
        match &self.limit {
            Limit::End { mark, tail } => self.until_mark(waiting, mark, *tail, silent),
            Limit::Length(length) => self.of_length(waiting, Some(*length), silent),
            Limit::LengthAt { byte, plus, or } => {
                let is_set = |or: &&FixedWhen| waiting.get(or.byte).is_some_and(|byte| byte & or.mask != 0);
                let said = || waiting.get(*byte).map(|count| usize::from(*count) + plus);
                let length = or.as_ref().filter(is_set).map(|or| or.length).or_else(said);
                self.of_length(waiting, length, silent)
            }
            Limit::Silence if silent => Step::Candidate(waiting.len()),
            Limit::Silence if waiting.len() > self.longest => {
                Step::Discard(waiting.len(), Refusal::TooLong(self.longest))
            }
            Limit::Silence => Step::Wait,
        }
    }

    /// Whether the newest byte can make [`Self::step`] anything but wait, given that it waited before: most bytes of a
    /// frame with an end mark cannot.
    pub(crate) fn may_step(&self, waiting: &[u8]) -> bool {
        let Limit::End { mark, tail } = &self.limit else { return true };
        let ends = waiting.len().checked_sub(1 + tail).and_then(|place| waiting.get(place)) == mark.last();
        ends || waiting.len() == 1 || waiting.len() > self.longest
    }

    fn until_mark(&self, waiting: &[u8], mark: &[u8], tail: usize, silent: bool) -> Step {
        let end = waiting.windows(mark.len()).position(|window| window == mark);
        match end.map(|end| end + mark.len() + tail) {
            Some(length) if length <= waiting.len() => Step::Candidate(length),
            _ if silent => Step::Discard(waiting.len(), Refusal::Cut),
            None if waiting.len() > self.longest => {
                Step::Discard(self.next_start(waiting, 1).unwrap_or(waiting.len()), Refusal::TooLong(self.longest))
            }
            _ => Step::Wait,
        }
    }

    fn of_length(&self, waiting: &[u8], length: Option<usize>, silent: bool) -> Step {
        let next = self.next_start(waiting, 1).unwrap_or(waiting.len());
        match self.begins(waiting) {
            Beginning::No => return Step::Discard(next, Refusal::NoLayout { at: 0 }),
            Beginning::Perhaps if silent => return Step::Discard(next, Refusal::Cut),
            Beginning::Perhaps => return Step::Wait,
            Beginning::Yes => {}
        }
        let whole = length.filter(|length| *length <= waiting.len());
        match (length, whole) {
            (Some(length), _) if length > self.longest => Step::Discard(next, Refusal::TooLong(self.longest)),
            (_, None) if silent => Step::Discard(next, Refusal::Cut),
            (_, None) => Step::Wait,
            (_, Some(length)) if !self.followed_by_start => Step::Candidate(length),
            (_, Some(length)) => match (waiting.get(length..).unwrap_or_default(), silent) {
                ([], true) => Step::Candidate(length),
                ([], false) => Step::Wait,
                (rest, _) => match self.begins(rest) {
                    Beginning::Yes => Step::Candidate(length),
                    Beginning::Perhaps if !silent => Step::Wait,
                    _ => Step::Discard(next, Refusal::NotFollowed),
                },
            },
        }
    }

    /// The first place from `from` on where a frame may begin, as far as its bytes are there. `None`: nowhere.
    pub(crate) fn next_start(&self, bytes: &[u8], from: usize) -> Option<usize> {
        if self.starts.is_empty() && matches!(self.limit, Limit::End { .. } | Limit::Silence) {
            return None;
        }
        (from..bytes.len()).find(|place| bytes.get(*place..).is_some_and(|rest| self.begins(rest) != Beginning::No))
    }

    /// Whether a start mark stands at the front of these bytes.
    pub(crate) fn begins(&self, bytes: &[u8]) -> Beginning {
        let mut answer = if self.starts.is_empty() { Beginning::Yes } else { Beginning::No };
        for start in &self.starts {
            if bytes.starts_with(start) {
                return Beginning::Yes;
            }
            if start.starts_with(bytes) {
                answer = Beginning::Perhaps;
            }
        }
        answer
    }

    /// How many bytes at a candidate's end are the end mark alone, which layouts do not repeat. With a tail behind
    /// the mark the layouts hold both.
    pub(crate) fn silent_mark(&self) -> usize {
        match &self.limit {
            Limit::End { mark, tail: 0 } => mark.len(),
            _ => 0,
        }
    }

    /// Whether the byte is part of the mark that ends a frame.
    pub(crate) fn ends_with(&self, byte: u8) -> bool {
        matches!(&self.limit, Limit::End { mark, .. } if mark.contains(&byte))
    }
}

/// Whether a frame begins at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Beginning {
    Yes,
    No,
    /// The bytes end before the start mark does.
    Perhaps,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn framing(starts: &[&[u8]], limit: Limit) -> Framing {
        let starts = starts.iter().map(|start| start.to_vec()).collect();
        Framing { starts, limit, between: Vec::new(), followed_by_start: false, longest: 20, idle_ms: 100 }
    }

    fn line() -> Framing {
        framing(&[b"ST,"], Limit::End { mark: b"\r\n".to_vec(), tail: 0 })
    }

    #[test]
    fn a_line_is_a_candidate_as_soon_as_its_end_is_there() {
        assert_eq!(line().step(b"ST,1\r", false, true), Step::Wait);
        assert_eq!(line().step(b"ST,1\r\n", false, true), Step::Candidate(6));
        assert_eq!(line().step(b"ST,1\r\nST,", false, true), Step::Candidate(6));
        assert_eq!(line().step(b"ST,1", true, true), Step::Discard(4, Refusal::Cut));
    }

    #[test]
    fn a_line_without_end_is_dropped_up_to_the_next_start() {
        let endless = b"xxxxxxxxxxxxxxxxxxxST,1";
        assert_eq!(line().step(endless, false, true), Step::Discard(19, Refusal::TooLong(20)));
    }

    #[test]
    fn a_frame_of_fixed_length_waits_for_its_follower_where_it_must() {
        let mut fixed = framing(&[&[0xff]], Limit::Length(3));
        assert_eq!(fixed.step(&[0xff, 1], false, true), Step::Wait);
        assert_eq!(fixed.step(&[0xff, 1, 2], false, true), Step::Candidate(3));
        fixed.followed_by_start = true;
        assert_eq!(fixed.step(&[0xff, 1, 2], false, true), Step::Wait);
        assert_eq!(fixed.step(&[0xff, 1, 2], true, true), Step::Candidate(3));
        assert_eq!(fixed.step(&[0xff, 1, 2, 0xff], false, true), Step::Candidate(3));
        assert_eq!(fixed.step(&[0xff, 1, 2, 3], false, true), Step::Discard(4, Refusal::NotFollowed));
        assert_eq!(fixed.step(&[1, 0xff], false, true), Step::Discard(1, Refusal::NoLayout { at: 0 }));
    }

    #[test]
    fn a_frame_can_say_its_own_length() {
        let said = framing(&[], Limit::LengthAt { byte: 1, plus: 2, or: None });
        assert_eq!(said.step(&[9], false, true), Step::Wait);
        assert_eq!(said.step(&[9, 1, 7], false, true), Step::Candidate(3));
        assert_eq!(said.step(&[9, 200, 7], false, true), Step::Discard(1, Refusal::TooLong(20)));
        let or = Some(FixedWhen { byte: 0, mask: 0x80, length: 2 });
        let either = framing(&[], Limit::LengthAt { byte: 1, plus: 2, or });
        assert_eq!(either.step(&[0x81, 200], false, true), Step::Candidate(2));
        assert_eq!(either.step(&[0x01, 1, 7], false, true), Step::Candidate(3));
    }
}
