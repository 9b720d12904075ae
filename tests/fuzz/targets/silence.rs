//! A family whose frames end when the line falls silent; none of the built-in ones does, so it is described here.
#![no_main]

use std::sync::{Arc, LazyLock};

use benchscribe::instrument::format::Format;
use libfuzzer_sys::fuzz_target;

const DESCRIPTION: &str = r#"
description = "a number and a unit, nothing behind"
mode = "streaming"
[line]
baud = 9600
data_bits = 8
parity = "none"
stop_bits = 1
[framing]
longest = 20
idle_ms = 50
[[layout]]
name = "a load"
fields = [{ number = "1-9", minus = "either" }, { unit = "1-3" }]
"#;

static FORMAT: LazyLock<Arc<Format>> =
    LazyLock::new(|| Arc::new(Format::from_toml(DESCRIPTION, "silence").expect("it is sound")));

fuzz_target!(|input: &[u8]| benchscribe_fuzz::check_format(&FORMAT, input, 1));
