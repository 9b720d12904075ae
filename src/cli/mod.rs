//! The command line: one file per command; each reads its arguments, prints, and never decides.

pub mod compute;
pub mod decode;
pub mod replay;
