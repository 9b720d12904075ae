//! Every wire format against frames from outside the project, frames written by hand, damage and splits.
//!
//! `captures/frames.json` holds sample frames gathered from public layout descriptions, manuals and questions, each
//! with what must come out ("sample": printed in a public source; "layout": built from a described layout; "standard":
//! from a published standard). The rest of the frames is written by hand from the same layouts.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::large_enum_variant,
    reason = "a test that meets the unexpected stops there"
)]

#[path = "frames/by_hand.rs"]
mod by_hand;
#[path = "frames/damage.rs"]
mod damage;
#[path = "frames/samples.rs"]
mod samples;
#[path = "frames/support.rs"]
mod support;
#[path = "frames/unseen.rs"]
mod unseen;
