//! A simulated club builder's bench, for demonstrations and tests of a program that reads a real one.
//!
//! Each instrument stands on a pseudo-terminal and speaks an ordinary family of wire formats, with noise, settling and faults
//! that are invented but believable; a builder may work at them by himself. It shares no code with the program it tests: a shared mistake
//! would hide.
//!
//! Start with [`Bench::start`]. The modules in reading order: who works at the bench, what is laid down, what
//! the instruments make of it, how it leaves on the wire, and chance and time below all.

mod bench;
mod builder;
mod club;
mod day;
mod plan;
mod truth;

mod load;
mod pan;

mod beam;
mod gauge;
mod scale;
mod scale_family;
mod scanner;

mod fault;
mod instrument;
mod pty;
mod wire;

mod chance;
mod clock;

pub use beam::{CELL_POSITIONS_MM, COUNTS_PER_G, ZERO_COUNTS};
pub use bench::{Bench, BenchError, BenchSettings};
pub use builder::{Action, BuilderReport, Eyes, Seen, Tickets};
pub use clock::Clock;
pub use fault::{Fault, UnknownFault};
pub use instrument::{Instrument, UnknownInstrument};
pub use load::Load;
pub use plan::{ClubKind, ClubPlan, DayPlan, OrderPlan};
pub use scale_family::{ScaleFamily, UnknownFamily};
pub use truth::Truth;
