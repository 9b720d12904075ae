//! The barcode scanner: a text held before it goes in, the text with its symbology identifier comes out at once.

use crate::instrument::{Deed, Device};
use crate::wire;

/// The scanner, with what it has read and not yet sent.
#[derive(Debug, Default)]
pub(crate) struct Scanner {
    read: Vec<Vec<u8>>,
}

impl Device for Scanner {
    fn act(&mut self, deed: Deed) {
        if let Deed::Scan(text) = deed {
            self.read.push(wire::scanner(&text));
        }
    }

    fn advance(&mut self, _t_s: f64, frames: &mut Vec<Vec<u8>>) {
        frames.append(&mut self.read);
    }

    fn next_s(&self) -> f64 {
        f64::INFINITY
    }
}
