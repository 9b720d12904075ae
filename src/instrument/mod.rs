//! What the instruments send, from bytes to frames.
//!
//! In: bytes of a serial line, keys of an event device. Out: decoded frames or refusals, with their place in the stream.
//! Absent: work orders, calibration, the clock; IO stands in the port and the event device alone. Modules in the order of
//! the flow.
#![warn(clippy::indexing_slicing)]

pub mod format;
pub mod framer;
pub mod identify;
pub mod search;

pub mod indication;
pub mod keys;
pub mod pedal;
pub mod rereads;

pub mod attachment;
pub mod event_device;
pub mod port;
pub mod port_name;
