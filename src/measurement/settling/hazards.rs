//! Hazards of a bench.
