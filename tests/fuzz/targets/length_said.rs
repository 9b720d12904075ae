//! Families whose frames say their length.
#![no_main]

use libfuzzer_sys::fuzz_target;

const FAMILIES: &[&str] = &["modbus-float", "modbus-int32", "modbus-int32-status"];

fuzz_target!(|input: &[u8]| benchscribe_fuzz::check(FAMILIES, input));
