//! What goes wrong at a bench: power cuts, plugs, noise on the line, other programs, a full disk. The daemon runs as a
//! child process on simulated instruments; parts are laid down and lifted by the test.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

mod support;

#[path = "faults/bytes.rs"]
mod bytes;
#[path = "faults/disk.rs"]
mod disk;
#[path = "faults/doors.rs"]
mod doors;
#[path = "faults/kills.rs"]
mod kills;
#[path = "faults/plugs.rs"]
mod plugs;
