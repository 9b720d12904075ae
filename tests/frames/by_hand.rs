//! More frames of each family, written by hand from its layout: other units, signs, widths, states and refusals.
//!
//! The lines read: value, unit, settled, range, net or gross. None stands for a refusal.

use super::support::{decode, format, hex, line};

/// Decodes one frame with settings such as `check=none` and compares its line.
fn check_set(family: &str, settings: &str, bytes: &[u8], expected: Option<&str>) {
    let got = decode(&format(family, settings), bytes);
    let frames: Vec<_> = got.iter().filter_map(|got| got.frame()).collect();
    let shown = String::from_utf8_lossy(bytes);
    match expected {
        Some(expected) => {
            let [frame] = frames.as_slice() else { panic!("{family} {shown:?}: {got:?}") };
            assert_eq!(line(frame), expected, "{family} {shown:?}");
            assert_eq!(got.len(), 1, "{family} {shown:?}: {got:?}");
        }
        None => assert!(frames.is_empty() && !got.is_empty(), "{family} {shown:?}: {got:?}"),
    }
}

fn check(family: &str, cases: &[(&str, &str)]) {
    for (text, expected) in cases {
        check_set(family, "", text.as_bytes(), (!expected.is_empty()).then_some(*expected));
    }
}

#[test]
fn status_sign_and_zero_filled_number() {
    check(
        "hdr2-sign8-unit3",
        &[
            ("ST,+00001.23 kg\r\n", "1.23 kg stable in-range -"),
            ("US,-00123.45 lb\r\n", "-123.45 lb moving in-range -"),
            ("ST,+01234567  g\r\n", "1234567 g stable in-range -"),
            ("ST,+00000000pcs\r\n", "0 pcs stable in-range -"),
            ("QT,+00000012 PC\r\n", "12 pcs stable in-range -"),
            ("ST,-0000.123 oz\r\n", "-0.123 oz stable in-range -"),
            ("ST,+00012.34 GN\r\n", "12.34 gr stable in-range -"),
            ("ST,+00012.34 ct\r\n", "12.34 ct stable in-range -"),
            ("OL,-9999999E+19\r\n", "- - - over -"),
            ("ST,+00123.45 mg\r\n", ""),
            ("ST,+00123.45ozt\r\n", ""),
            ("ST,+00123.4   g\r\n", ""),
            ("ST,+0123.45  g\r\n", ""),
            ("XX,+00123.45  g\r\n", ""),
            ("ST,+00123.45  g", ""),
            ("ST,+0012\x003.45  g\r\n", ""),
        ],
    );
}

#[test]
fn status_and_mode_pairs() {
    check(
        "hdr2-mode2-sign-value-unit",
        &[
            ("ST,GS,-  1.240kg\r\n", "-1.240 kg stable in-range gross"),
            ("ST,GS,  -1.240kg\r\n", "-1.240 kg stable in-range gross"),
            ("US,NT,+ 12.34 lb\r\n", "12.34 lb moving in-range net"),
            ("ST,NT,+   0.05  g\r\n", "0.05 g stable in-range net"),
            ("ST,nt,+  1.234kg\r\n", "1.234 kg stable in-range net"),
            ("ST,GS,+001.240kg\r\n", "1.240 kg stable in-range gross"),
            ("ST,GS,+   1240 g\r\n", "1240 g stable in-range gross"),
            ("ST,GS,+  1.240,kg\r\n", "1.240 kg stable in-range gross"),
            ("ST,TR,+  0.500kg\r\n", "0.500 kg stable in-range -"),
            ("OL,GS,+  9.999kg\r\n", "- - - over gross"),
            ("OL,NT,-------kg\r\n", "- - - over net"),
            ("ST,GS,+  1.2 0kg\r\n", ""),
            ("ST,GS,+  1.240\r\n", ""),
            ("ST,GS,- -1.240kg\r\n", ""),
        ],
    );
    check(
        "hdr2-mode2-nocomma",
        &[
            ("ST,GS   1.234,kg\r\n", "1.234 kg stable in-range gross"),
            ("US,NT- 12.340, g\r\n", "-12.340 g moving in-range net"),
            ("US,GS  012.34,lb\r\n", "12.34 lb moving in-range gross"),
            ("OL,GS        ,kg\r\n", "- - - over gross"),
            ("ST,NT-  1.234kg\r\n", ""),
        ],
    );
}

#[test]
fn echoed_request() {
    check(
        "echo-status-value10-unit",
        &[
            ("S S      -0.05 g\r\n", "-0.05 g stable in-range -"),
            ("S D      1.234 kg\r\n", "1.234 kg moving in-range -"),
            ("S S         12 pcs\r\n", "12 pcs stable in-range -"),
            ("S S   12:07.50 lb:oz\r\n", "199.50 oz stable in-range -"),
            ("S D  -12:07.50 lb:oz\r\n", "-199.50 oz moving in-range -"),
            ("S -\r\n", "- - - over -"),
            ("S I\r\n", "- - - - -"),
            ("S S   12:07.50 lb\r\n", ""),
            ("S S     100.00 lb:oz\r\n", ""),
            ("S S   12:16.00 lb:oz\r\n", ""),
            ("T S     100.00 g\r\n", ""),
            ("ES\r\n", ""),
        ],
    );
}

#[test]
fn sixteen_and_twenty_two_characters() {
    check(
        "sign-value8-unit3-blank-if-moving",
        &[
            ("-    12.34 kg \r\n", "-12.34 kg stable in-range -"),
            ("     12.34 oz \r\n", "12.34 oz stable in-range -"),
            ("+   0.0000    \r\n", "0.0000 - moving in-range -"),
            ("-  12.3[4] ct \r\n", "-12.34 ct stable in-range -"),
            ("+     1200 pcs\r\n", "1200 pcs stable in-range -"),
            ("       L      \r\n", "- - - over -"),
            ("     Err 54   \r\n", "- - - - -"),
            ("+   1255.7 g \r\n", ""),
            ("+   12 5.7 g  \r\n", ""),
            ("+   1255.7  g \r\n", ""),
            ("      H H     \r\n", ""),
        ],
    );
    check(
        "id6-sign-value8-unit3",
        &[
            ("G#    +   123.56 g  \r\n", "123.56 g stable in-range gross"),
            ("T     +    50.00 g  \r\n", "50.00 g stable in-range -"),
            ("N     -     0.50    \r\n", "-0.50 - moving in-range net"),
            ("      +   123.56 kg \r\n", "123.56 kg stable in-range -"),
            ("              H     \r\n", "- - - over -"),
            ("XYZ   +   123.56 g  \r\n", ""),
        ],
    );
}

#[test]
fn stability_mark_and_mass() {
    check(
        "marker-sign-mass9-unit3",
        &[
            ("  -      0.50 g  \r\n", ""),
            ("  -     0.50 g  \r\n", "-0.50 g stable in-range -"),
            ("?     12.345 oz \r\n", "12.345 oz moving in-range -"),
            ("v -    2.237 lb \r\n", "- - - over -"),
            ("^   -------- kg \r\n", "- - - over -"),
            ("      1832.0 xx \r\n", ""),
        ],
    );
    check(
        "cmd2-marker-sign-mass9-unit3",
        &[
            ("S    -     1.50 kg \r\n", "-1.50 kg stable in-range -"),
            ("SI ^       1.50 kg \r\n", "- - - over -"),
            ("SU v\r\n", "- - - over -"),
            ("SI I\r\n", "- - - - -"),
            ("OT         1.50 kg \r\n", ""),
        ],
    );
}

/// The check byte by the definition: the low seven bits of all bytes together are zero.
fn with_sum(frame: &[u8]) -> Vec<u8> {
    let sum: u32 = frame.iter().map(|byte| u32::from(*byte)).sum();
    let check = u8::try_from((128 - sum % 128) % 128).unwrap();
    [frame, &[check]].concat()
}

#[test]
fn status_bytes_and_a_sum() {
    for (frame, expected) in [
        (&b"\x02+0#   505     0\r"[..], Some("50.5 oz stable in-range gross")),
        (b"\x02+0 000505     0\r", Some("50.5 kg stable in-range gross")),
        (b"\x02*  000505     0\r", Some("505 lb stable in-range gross")),
        (b"\x02)  000505     0\r", Some("5050 lb stable in-range gross")),
        (b"\x02.+#  1234     0\r", Some("-0.1234 oz moving in-range net")),
        (b"\x02,$ 123456000000\r", Some("- - - over gross")),
        (b"\x02,0!            \r", Some("- - - - gross")),
        (b"\x02,0\" 12345000000\r", None),
        (b"\x02,0! 1 345000000\r", None),
    ] {
        check_set("stx-binary-status-words", "check=none", frame, expected);
        check_set("stx-binary-status-words", "", &with_sum(frame), expected);
        let mut wrong = with_sum(frame);
        *wrong.last_mut().unwrap() ^= 1;
        check_set("stx-binary-status-words", "", &wrong, None);
    }
}

#[test]
fn polarity_unit_mode_and_status_letters() {
    check(
        "stx-polarity-w7-unit-mode-status",
        &[
            ("\x02    0.500GN \r\n", ""),
            ("\x02   0.500GN \r\n", "0.500 g stable in-range net"),
            ("\x02-  12.34OGM\r\n", "-12.34 oz moving in-range gross"),
            ("\x02   12.34KGO\r\n", "- - - over gross"),
            ("\x02       KNI\r\n", ""),
            ("\x02        KNI\r\n", "- - - - net"),
            ("\x02   12.34TG \r\n", ""),
        ],
    );
    check(
        "stx-sign-w7-status-etx",
        &[
            ("\x02-  12.34N\x03", "-12.34 - - in-range net"),
            ("\x02   12.34M\x03", "12.34 - moving in-range -"),
            ("\x02   12.34O\x03", "- - - over -"),
            ("\x02        U\x03", "- - - over -"),
            ("\x02   ERRORE\x03", "- - - - -"),
            ("\x02   12.34X\x03", ""),
        ],
    );
}

#[test]
fn replies_that_begin_with_a_line_feed() {
    check(
        "lf-value-unit-cr-lf-status-etx",
        &[
            ("\n-012.34LB\r\n00\r\x03", "-12.34 lb stable in-range -"),
            ("\n   1.20 G\r\n20\r\x03", "1.20 g stable in-range -"),
            ("\n  12.34OZ\r\n30\r\x03", "12.34 oz moving in-range -"),
            ("\n12LB07.5OZ\r\n00\r\x03", "199.5 oz stable in-range -"),
            ("\n0012.34LB\r\n02\r\x03", "- - - over -"),
            ("\n^^^^^^^LB\r\n01\r\x03", "- - - over -"),
            ("\n0012.34LB\r\n80\r\x03", ""),
            ("\n12LB17.5OZ\r\n00\r\x03", ""),
        ],
    );
    check(
        "lf-s-r-n-m-f-w10-u3-cr",
        &[
            ("\nZ1G       0.000kg \r", "0.000 kg stable in-range gross"),
            ("\n 1n     -12.340lb \r", "-12.340 lb stable in-range net"),
            ("\n 2gM     12.340 oz\r", "12.340 oz moving in-range gross"),
            ("\n 1T       0.500kg \r", "0.500 kg stable in-range -"),
            ("\nO1G      99.999kg \r", "- - - over gross"),
            ("\nU1N   -         kg \r", ""),
            ("\nU1N  ----------kg \r", "- - - over -"),
            ("\nE                  \r", ""),
            ("\n?\r", "- - - - -"),
        ],
    );
}

#[test]
fn flags_legends_and_labels() {
    check(
        "sign-adjacent-dot-flags4",
        &[
            ("  -12.34 SG \r\n", "-12.34 g moving in-range -"),
            ("    +12.  GS\r\n", "12 g stable in-range -"),
            (" +1.2345 FKS\r\n", "1.2345 kg stable in-range -"),
            ("     +12  GS\r\n", ""),
        ],
    );
    check(
        "polled-legend-case",
        &[
            ("  12.34 lb nt\r\n", "12.34 lb moving in-range net"),
            (" -12.34 KG GR\r\n", "-12.34 kg stable in-range gross"),
            ("- 12.34  G NT\r\n", "-12.34 g stable in-range net"),
            (" ------ KG GR\r\n", "- - - over gross"),
            ("  12.34 KG Gr\r\n", ""),
        ],
    );
    check(
        "plain-value-unit",
        &[
            ("-29.182 g\r\n", "-29.182 g - - -"),
            ("     - 29.182 g \r\n", ""),
            ("-    29.182 g  \r\n", "-29.182 g - - -"),
            ("     12 pcs\r\n", "12 pcs - - -"),
            ("  12:07.50 lb:oz\r\n", "199.50 oz - - -"),
            ("  12 lb  7.50 oz\r\n", "199.50 oz - - -"),
            ("    1.25 GN \r\n", "1.25 gr - - -"),
            ("29.182g\r\n", ""),
            ("29.182\r\n", ""),
            ("29,182 g\r\n", ""),
            ("29.182 ozt\r\n", ""),
            ("       29.1       29.182 g \r\n", ""),
        ],
    );
    check(
        "labelled-decimal-comma",
        &[
            ("PESO:  -1,250 KG\r\n", "-1.250 kg - - -"),
            ("NETO:   12,5 g\r\n", "12.5 g - - net"),
            ("BRUTTO: 1,250 kg\r\n", "1.250 kg - - gross"),
            ("TARA:   0,250 KG\r\n", "0.250 kg - - -"),
            ("PESO:   1.250 KG\r\n", ""),
            ("PESO:   1.250,5 KG\r\n", ""),
            ("   1,250 KG\r\n", ""),
        ],
    );
    check(
        "ww-wn-zero-filled",
        &[
            ("ww012.345kg\r\n", "12.345 kg - - gross"),
            ("wn-00.104kg\r\n", "-0.104 kg - - net"),
            ("ww-000.104kg\r\n", "-0.104 kg - - gross"),
            ("ww00104.5g\r\n", "104.5 g - - gross"),
            ("ww12.345kg\r\n", ""),
            ("wx012.345kg\r\n", ""),
        ],
    );
}

#[test]
fn digits_with_an_exclusive_or() {
    let framed = |body: &str| format!("\x02{body}{:02X}\x03", body.bytes().fold(0, |sum, byte| sum ^ byte));
    for (body, expected) in [
        ("-0020002", Some("-20.00 - - - -")),
        ("+0123450", Some("12345 - - - -")),
        ("+0000016", Some("0.000001 - - - -")),
        ("+0123459", None),
        ("+ 123452", None),
    ] {
        check_set("stx-sign-6digits-dp-xor2-etx", "", framed(body).as_bytes(), expected);
    }
    check("stx-sign-6digits-dp-xor2-etx", &[("\x02+00200021C\x03", "")]);
}

#[test]
fn packed_digits() {
    for (settings, bytes, expected) in [
        ("", "ff 62 34 12 00 01", Some("-12.34 lb stable in-range -")),
        ("", "ff 00 34 12 56 00", Some("561234 kg moving in-range -")),
        ("", "ff c3 00 00 00 00", Some("- - - over -")),
        ("", "ff 43 3a 12 00 00", None),
        ("", "ff 43 34 12 00 02", None),
        ("", "ff 43 34 12 00", None),
        ("decimals_from=1", "ff 43 34 12 00 00", Some("12.34 kg stable in-range -")),
    ] {
        check_set("ff-flags-bcd3-unit", settings, &hex(bytes), expected);
    }
}

#[test]
fn usb_weighing_reports() {
    // Codes of the USB HID point-of-sale usage tables, weighing devices (from memory).
    for (bytes, expected) in [
        ("03 03 0b fe d2 04", Some("12.34 oz moving in-range -")),
        ("03 02 03 fd 00 00", Some("0.000 kg stable in-range -")),
        ("03 04 02 01 0c 00", Some("120 g stable in-range -")),
        ("03 04 0c ff ff ff", Some("6553.5 lb stable in-range -")),
        ("03 06 02 ff 39 30", Some("- - - over -")),
        ("03 05 02 ff 39 30", Some("- - - over -")),
        ("03 01 02 ff 39 30", Some("- - - - -")),
        ("03 04 05 ff 39 30", None),
        ("04 04 02 ff 39 30", None),
        ("03 04 02 9c 39 30", None),
    ] {
        check_set("usb-hid-scale-report", "", &hex(bytes), expected);
    }
}

#[test]
fn replies_to_a_query() {
    check(
        "scpi-nr3",
        &[
            ("-3.000E-04\r\n", "-0.0003000 - - in-range -"),
            ("1.5E0\n", "1.5 - - in-range -"),
            ("+2.000000E+02\n", "200.0000 - - in-range -"),
            ("+9.90000000E+37\n", "- - - over -"),
            ("-9.9E37\n", "- - - over -"),
            ("9.91E37\n", "- - - - -"),
            ("12.34\n", ""),
            ("+1.2345E\n", ""),
            ("+1.2345E+99\n", ""),
        ],
    );
}
