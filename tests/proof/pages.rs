//! Which bytes of a database file are in use, and by which table: the rest holds nothing, or stale copies.
//!
//! After the description of the file format by its makers ("Database File Format", sections 1.3, 1.5 and 1.6; from
//! memory). Only what a small journal needs: no reserved pages, no auto-vacuum.

use std::ops::Range;

/// Runs of bytes in use by one B-tree.
pub(crate) struct Pages<'a> {
    file: &'a [u8],
    page: usize,
    used: Vec<Range<usize>>,
}

/// The bytes that the B-tree with this root page uses.
pub(crate) fn used_by(file: &[u8], root: usize) -> Vec<Range<usize>> {
    let page = usize::from(u16::from_be_bytes([file[16], file[17]]));
    let mut pages = Pages { file, page, used: Vec::new() };
    pages.tree(root);
    pages.used
}

impl Pages<'_> {
    fn number(&self, at: usize, bytes: usize) -> usize {
        self.file[at..at + bytes].iter().fold(0, |number, byte| number << 8 | usize::from(*byte))
    }

    /// A number of one to nine bytes; the number and how many.
    fn varint(&self, at: usize) -> (usize, usize) {
        let mut number = 0;
        for length in 1..=8 {
            let byte = self.file[at + length - 1];
            number = number << 7 | usize::from(byte & 0x7f);
            if byte & 0x80 == 0 {
                return (number, length);
            }
        }
        (number << 8 | usize::from(self.file[at + 8]), 9)
    }

    fn tree(&mut self, number: usize) {
        let start = (number - 1) * self.page;
        let head = if number == 1 { start + 100 } else { start };
        let kind = self.file[head];
        let is_interior = kind == 2 || kind == 5;
        let is_table = kind == 5 || kind == 13;
        let cells = self.number(head + 3, 2);
        let pointers = head + if is_interior { 12 } else { 8 };
        self.used.push(head..pointers + 2 * cells);
        if is_interior {
            self.tree(self.number(head + 8, 4));
        }
        for cell in 0..cells {
            let begin = start + self.number(pointers + 2 * cell, 2);
            let mut at = begin;
            if is_interior {
                let child = self.number(at, 4);
                self.tree(child);
                at += 4;
            }
            let (first, length) = self.varint(at);
            at += length;
            if is_interior && is_table {
                self.used.push(begin..at);
                continue;
            }
            if is_table {
                at += self.varint(at).1;
            }
            let (local, spills) = self.local(first, is_table);
            at += local;
            if spills {
                let overflow = self.number(at, 4);
                at += 4;
                self.overflow(overflow, first - local);
            }
            self.used.push(begin..at);
        }
    }

    /// How much of a payload lies in its cell, and whether the rest lies on pages of its own.
    fn local(&self, payload: usize, is_table: bool) -> (usize, bool) {
        let most = if is_table { self.page - 35 } else { (self.page - 12) * 64 / 255 - 23 };
        if payload <= most {
            return (payload, false);
        }
        let least = (self.page - 12) * 32 / 255 - 23;
        let wanted = least + (payload - least) % (self.page - 4);
        (if wanted <= most { wanted } else { least }, true)
    }

    fn overflow(&mut self, number: usize, left: usize) {
        let start = (number - 1) * self.page;
        let here = left.min(self.page - 4);
        self.used.push(start..start + 4 + here);
        if left > here {
            self.overflow(self.number(start, 4), left - here);
        }
    }
}
