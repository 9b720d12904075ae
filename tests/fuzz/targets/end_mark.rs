//! Families whose frames end with a mark.
#![no_main]

use libfuzzer_sys::fuzz_target;

const FAMILIES: &[&str] = &[
    "cmd2-marker-sign-mass9-unit3",
    "dual-cell-line",
    "echo-status-value10-unit",
    "hdr2-mode2-nocomma",
    "hdr2-mode2-sign-value-unit",
    "hdr2-sign8-unit3",
    "id6-sign-value8-unit3",
    "labelled-decimal-comma",
    "lf-s-r-n-m-f-w10-u3-cr",
    "lf-value-unit-cr-lf-status-etx",
    "marker-sign-mass9-unit3",
    "nmea-xdr",
    "plain-value-unit",
    "polled-legend-case",
    "scanner",
    "scanner-without-identifier",
    "scpi-nr3",
    "sign-adjacent-dot-flags4",
    "sign-value8-unit3-blank-if-moving",
    "stx-binary-status-words",
    "stx-polarity-w7-unit-mode-status",
    "stx-sign-6digits-dp-xor2-etx",
    "stx-sign-w7-status-etx",
    "ww-wn-zero-filled",
];

fuzz_target!(|input: &[u8]| benchscribe_fuzz::check(FAMILIES, input));
