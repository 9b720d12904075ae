//! Files that people write: the bench's configuration and work orders. Text in, checked values or mistakes out.

pub mod adhesive_file;
mod attachment_section;
pub mod bench_file;
mod build_section;
mod calibration_section;
mod club_section;
mod details_section;
pub mod document;
pub mod guidance_section;
pub mod instrument_block;
pub mod kit_file;
pub mod named_files;
mod network_section;
mod node;
pub mod order_file;
mod order_table;
pub mod rules_file;
pub mod stock_file;
mod trust_section;
