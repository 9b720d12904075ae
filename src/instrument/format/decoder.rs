//! Turns a stream of bytes into items, frame by frame.
//!
//! In: bytes in pieces of any size, and word that the line is silent. Out: each whole frame, and each run of bytes
//! that gave nothing, with its place. Any split of the stream gives the same items. Memory is bounded by the
//! longest frame of the family; a numeric frame costs no allocation. Absent: the clock.

use std::sync::Arc;

use super::Format;
use super::evaluate::evaluate;
use super::frame::{Frame, Item};
use super::layout::{Failure, matches};
use super::refusal::Refusal;
use crate::instrument::framer::{Beginning, Limit, Step};

/// Decodes one stream of one family.
#[derive(Debug)]
pub struct Decoder {
    format: Arc<Format>,
    buffer: Vec<u8>,
    /// Offset in the stream of the buffer's first byte.
    at_byte: u64,
    /// How many bytes at the buffer's front are refused and wait to be told.
    refused: usize,
    reason: Refusal,
    /// A frame may begin right behind the refused bytes.
    clean: bool,
    /// Bits that the layouts of all frames so far have pinned down.
    pinned_bits: u64,
}

/// What a candidate turned out to be.
#[expect(clippy::large_enum_variant, reason = "a frame is handed on without allocating")]
enum Tried {
    Frame { skipped: usize, frame: Frame, pinned_bits: u32 },
    Refused(Refusal),
}

impl Decoder {
    /// A decoder at the beginning of a stream, where a frame may begin at once.
    #[must_use]
    pub fn new(format: Arc<Format>) -> Self {
        let buffer = Vec::with_capacity(2 * format.framing.longest + 2);
        Self { format, buffer, at_byte: 0, refused: 0, reason: Refusal::Cut, clean: true, pinned_bits: 0 }
    }

    /// Says that the stream was joined in the middle of a frame, or that bytes were lost: nothing is taken for a
    /// frame before a start mark or the end of the one that is running. For a port that has just been opened.
    pub fn join_midway(&mut self) {
        self.consume(self.buffer.len());
        self.refused = 0;
        self.clean = false;
    }

    /// The format in use.
    #[must_use]
    pub fn format(&self) -> &Format {
        &self.format
    }

    /// Bits pinned down by the frames so far: how specific the format is for these bytes.
    pub(crate) fn pinned_bits(&self) -> u64 {
        self.pinned_bits
    }

    /// Takes the next bytes of the stream.
    pub fn push(&mut self, bytes: &[u8], out: &mut impl FnMut(Item<'_>)) {
        for byte in bytes {
            self.buffer.push(*byte);
            if self.format.framing.may_step(self.buffer.get(self.refused..).unwrap_or_default()) {
                self.advance(false, out);
            }
        }
    }

    /// Says that the line has been silent for the format's idle gap: a frame that is not whole is refused.
    pub fn idle(&mut self, out: &mut impl FnMut(Item<'_>)) {
        if self.buffer.is_empty() && self.clean {
            return;
        }
        self.advance(true, out);
        self.tell_refused(out);
        self.clean = true;
    }

    /// Says that the stream has ended.
    pub fn finish(&mut self, out: &mut impl FnMut(Item<'_>)) {
        self.idle(out);
    }

    fn advance(&mut self, silent: bool, out: &mut impl FnMut(Item<'_>)) {
        loop {
            let waiting = self.buffer.get(self.refused..).unwrap_or_default();
            match self.format.framing.step(waiting, silent, self.clean) {
                Step::Wait => return,
                Step::Skip(count) => {
                    self.tell_refused(out);
                    self.consume(count);
                }
                Step::Discard(count, reason) => {
                    self.refuse(count, reason);
                    self.clean = false;
                    if self.refused >= self.format.framing.longest {
                        self.tell_refused(out);
                    }
                }
                Step::Candidate(length) => self.candidate(length, out),
            }
        }
    }

    fn candidate(&mut self, length: usize, out: &mut impl FnMut(Item<'_>)) {
        let waiting = self.buffer.get(self.refused..).unwrap_or_default();
        let bytes = waiting.get(..length).unwrap_or(waiting);
        match self.attempt(bytes) {
            Tried::Frame { skipped, mut frame, pinned_bits } => {
                self.refuse(skipped, Refusal::Glued);
                self.tell_refused(out);
                self.pinned_bits += u64::from(pinned_bits);
                let own = length - skipped;
                frame.at_byte = self.at_byte;
                out(Item::Frame(frame, self.buffer.get(..own).unwrap_or_default()));
                self.consume(own);
                self.clean = true;
            }
            Tried::Refused(reason) => {
                let next = self.format.framing.next_start(bytes, 1);
                self.refuse(next.unwrap_or(length), reason);
                // A line that ended is told at once; what slides byte by byte is gathered into one run.
                self.clean = next.is_none();
                if next.is_none() && !matches!(self.format.framing.limit, Limit::Length(_) | Limit::LengthAt { .. })
                    || self.refused >= self.format.framing.longest
                {
                    self.tell_refused(out);
                }
            }
        }
    }

    /// Tries the layouts at each place where a frame can begin, the last one first: what stands before the last
    /// start mark is a frame that was cut.
    fn attempt(&self, bytes: &[u8]) -> Tried {
        let format = &*self.format;
        let mut reason = Refusal::Cut;
        let content = bytes.get(..bytes.len().saturating_sub(format.framing.silent_mark())).unwrap_or_default();
        for place in (0..=content.len()).rev() {
            if !self.may_begin(bytes, place) {
                continue;
            }
            let own = content.get(place..).unwrap_or_default();
            let mut failure = Failure::default();
            let mut contradiction = None;
            for layout in &format.layouts {
                let Some(spans) = matches(layout, own, &mut failure) else { continue };
                match evaluate(layout, &spans, own, 0) {
                    Ok(frame) => return Tried::Frame { skipped: place, frame, pinned_bits: spans.pinned_bits() },
                    Err(refusal) => contradiction = Some(refusal),
                }
            }
            reason = contradiction.unwrap_or_else(|| failure.reason(own, &format.alphabet));
        }
        Tried::Refused(reason)
    }

    fn may_begin(&self, bytes: &[u8], place: usize) -> bool {
        let framing = &self.format.framing;
        let marked = !framing.starts.is_empty();
        // What is found by its length slides along until it fits.
        let slides = matches!(framing.limit, Limit::Length(_) | Limit::LengthAt { .. });
        let Some(before) = place.checked_sub(1) else { return self.clean || marked || slides };
        if !matches!(framing.limit, Limit::End { .. }) {
            return false;
        }
        if marked {
            return bytes.get(place..).is_some_and(|rest| framing.begins(rest) == Beginning::Yes);
        }
        // Half of a damaged end mark ends a frame, too.
        bytes.get(before).is_some_and(|byte| framing.ends_with(*byte))
    }

    fn refuse(&mut self, count: usize, reason: Refusal) {
        if count > 0 && self.refused == 0 {
            self.reason = reason;
        }
        self.refused += count;
    }

    fn tell_refused(&mut self, out: &mut impl FnMut(Item<'_>)) {
        if self.refused > 0 {
            let raw = self.buffer.get(..self.refused).unwrap_or_default();
            out(Item::Refused { reason: self.reason, at_byte: self.at_byte, raw });
            self.consume(self.refused);
            self.refused = 0;
        }
    }

    fn consume(&mut self, count: usize) {
        self.at_byte += u64::try_from(count).unwrap_or(0);
        self.buffer.drain(..count);
    }
}
