//! Any text as a description of a wire format, and bytes decoded with what is accepted.
#![no_main]

use std::sync::Arc;

use benchscribe::instrument::format::Format;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: &[u8]| {
    let Ok(text) = std::str::from_utf8(input) else { return };
    // Behind a line of dashes stand bytes for the format.
    let (description, bytes) = text.split_once("\n---\n").unwrap_or((text, ""));
    if let Ok(format) = Format::from_toml(description, "fuzz") {
        benchscribe_fuzz::check_format(&Arc::new(format), bytes.as_bytes(), 3);
    }
});
