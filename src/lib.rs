//! Reads a club builder's bench: scales, a swing-weight beam, an angle gauge and a scanner.
//!
//! A byte becomes a frame ([`instrument`]), a sample and a reading ([`measurement`]), finds its place and verdict
//! in the current club ([`work_order`], with the physics of [`club`]), is stored ([`journal`]) and then shown
//! ([`output`]). [`config`] reads what people write, [`bench`] wires it all, [`cli`] is the command line.

pub mod audit;
pub mod bench;
pub mod cli;
pub mod clock;
pub mod club;
pub mod config;
pub mod instrument;
pub mod journal;
pub mod measurement;
pub mod output;
pub mod proof;
pub mod work_order;
