//! Files that people write: the bench's configuration and work orders. Text in, checked values or mistakes out.

pub mod bench_file;
pub mod document;
pub mod order_file;
