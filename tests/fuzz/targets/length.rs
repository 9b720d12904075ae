//! Families whose frames have one length.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: &[u8]| benchscribe_fuzz::check(&["ff-flags-bcd3-unit", "usb-hid-scale-report"], input));
