//! Why the zero of an instrument is not to be had, for the person at the bench. Pure.

use std::borrow::Cow;

use crate::measurement::reading::InstrumentKind;
use crate::measurement::settling::{Settling, ZeroTrouble};

/// The words while the empty pan reads far below its zero.
const ZERO_LOST: &str = "reads below zero: clear it and set it to zero";

/// Why the zero of an instrument is not to be had, in words.
pub(super) fn zero_words(kind: InstrumentKind, settling: &Settling) -> Option<Cow<'static, str>> {
    Some(match (settling.zero_trouble()?, settling.is_cleared(), kind) {
        (ZeroTrouble::Below, ..) => ZERO_LOST.into(),
        (ZeroTrouble::Lies(open), true, InstrumentKind::Gauge) => {
            format!("its arms stand open by {open:.1} deg: close them, or set it to zero").into()
        }
        (ZeroTrouble::Lies(open), false, InstrumentKind::Gauge) => {
            format!("its arms stood open by {open:.1} deg: take the club out and close them first").into()
        }
        (ZeroTrouble::Lies(load), true, _) => {
            format!("too light to be a part: {load:.1} g lies there; clear it, or set it to zero").into()
        }
        (ZeroTrouble::Lies(load), false, _) => {
            format!("{load:.1} g lay there before: clear it, then lay the part down alone").into()
        }
    })
}
