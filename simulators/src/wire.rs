//! The exact bytes of each family of wire format: a number and its state go in, one frame comes out.
//!
//! Deliberately written a second time, without the daemon's tables: a mistake shared by both would hide. Every layout is
//! tested against sample frames that were not made by this code.

/// What a scale shows at one moment, before it is put into a family's layout.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Shown {
    /// The value as a whole number of last digits: 12345 with two decimals is 123.45.
    pub(crate) digits: i64,
    /// Digits after the point, 1 or more.
    pub(crate) decimals: u8,
    /// The scale's own word that the value is at rest.
    pub(crate) stable: bool,
    /// More on the pan than the scale can weigh.
    pub(crate) over: bool,
}

impl Shown {
    /// The number without its sign, the whole part padded with zeros to `whole_width`.
    fn magnitude(self, whole_width: usize) -> String {
        let scale = 10_u64.pow(u32::from(self.decimals));
        let (whole, part) = (self.digits.unsigned_abs() / scale, self.digits.unsigned_abs() % scale);
        format!("{whole:0whole_width$}.{part:0decimals$}", decimals = usize::from(self.decimals))
    }

    /// The number with a minus where it is below zero and nothing where it is not.
    fn signed(self) -> String {
        if self.digits < 0 { format!("-{}", self.magnitude(1)) } else { self.magnitude(1) }
    }

    fn sign(self) -> char {
        if self.digits < 0 { '-' } else { '+' }
    }

    fn header(self) -> &'static str {
        if self.stable { "ST" } else { "US" }
    }
}

/// `hdr2-sign8-unit3`: status, sign, whole part zero-padded to five digits, unit right-aligned in three.
pub(crate) fn hdr2_sign8_unit3(shown: Shown, unit: &str) -> Vec<u8> {
    if shown.over {
        return b"OL,+9999999E+19\r\n".to_vec();
    }
    format!("{},{}{}{unit:>3}\r\n", shown.header(), shown.sign(), shown.magnitude(5)).into_bytes()
}

/// Field widths of one instrument of the family `hdr2-mode2-sign-value-unit`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Mode2Widths {
    /// Of the value, padded with spaces on the left, without its sign.
    pub(crate) value: usize,
    /// Of the unit, padded with spaces on the left.
    pub(crate) unit: usize,
}

/// The small balance of that family: the unit stands apart from the value.
pub(crate) const SMALL_BALANCE: Mode2Widths = Mode2Widths { value: 10, unit: 6 };

/// `hdr2-mode2-sign-value-unit`, gross; nothing over range, for which the family has no agreed frame.
pub(crate) fn hdr2_mode2_sign_value_unit(shown: Shown, unit: &str, widths: Mode2Widths) -> Vec<u8> {
    if shown.over {
        return Vec::new();
    }
    let (value, value_width, unit_width) = (shown.magnitude(1), widths.value, widths.unit);
    format!("{},GS,{}{value:>value_width$}{unit:>unit_width$}\r\n", shown.header(), shown.sign()).into_bytes()
}

/// `echo-status-value10-unit`: the answer to a request that began with `request`.
pub(crate) fn echo_status_value10_unit(request: char, shown: Shown, unit: &str) -> Vec<u8> {
    if shown.over {
        return format!("{request} +\r\n").into_bytes();
    }
    let status = if shown.stable { 'S' } else { 'D' };
    format!("{request} {status} {:>10} {unit}\r\n", shown.signed()).into_bytes()
}

/// The answer of the same family when the request cannot be carried out, for instance because the load never rests.
pub(crate) fn echo_not_executable(request: char) -> Vec<u8> {
    format!("{request} I\r\n").into_bytes()
}

/// `plain-value-unit`: value right-aligned in twelve, a space, unit left-aligned in two; nothing over range.
pub(crate) fn plain_value_unit(shown: Shown, unit: &str) -> Vec<u8> {
    if shown.over {
        return Vec::new();
    }
    format!("{:>12} {unit:<2}\r\n", shown.signed()).into_bytes()
}

/// `dual-cell-line`: raw counts of both cells, a tab apart.
pub(crate) fn dual_cell_line(counts: [i64; 2]) -> Vec<u8> {
    format!("{}\t{}\n", counts[0], counts[1]).into_bytes()
}

/// `nmea-xdr`: angles by name, from the two-letter `talker`; each value is given as it shall be printed. The checksum is the exclusive or of all bytes
/// between `$` and `*`.
pub(crate) fn nmea_xdr(talker: &str, angles: &[(&str, String)]) -> Vec<u8> {
    let groups: String = angles.iter().map(|(name, value)| format!(",A,{value},D,{name}")).collect();
    let body = format!("{talker}XDR{groups}");
    let checksum = body.bytes().fold(0_u8, |sum, byte| sum ^ byte);
    format!("${body}*{checksum:02X}\r\n").into_bytes()
}

/// An angle in hundredths of a degree, as `nmea_xdr` prints it: sign, two whole digits or more, two decimals.
pub(crate) fn angle_text(hundredths: i64) -> String {
    let shown = Shown { digits: hundredths, decimals: 2, stable: true, over: false };
    format!("{}{}", shown.sign(), shown.magnitude(2))
}

/// `scanner`: what a barcode scanner sends for `text`. A text that begins with `]` brings its own symbology identifier
/// (ISO/IEC 15424, for instance `]Q3` for a GS1 QR code); any other is sent as a plain linear code, `]C0`.
pub(crate) fn scanner(text: &str) -> Vec<u8> {
    let identifier = if text.starts_with(']') { "" } else { "]C0" };
    format!("{identifier}{text}\r").into_bytes()
}

#[cfg(test)]
mod tests {
    //! The expected bytes are sample frames of each family, collected from descriptions of the formats and not produced by
    //! this code; the daemon's decoders are tested on the same samples.
    use super::*;

    fn check(made: &[u8], sample: &[u8]) {
        assert_eq!(made.escape_ascii().to_string(), sample.escape_ascii().to_string());
    }

    fn shown(digits: i64, decimals: u8, stable: bool) -> Shown {
        Shown { digits, decimals, stable, over: false }
    }

    const OVER: Shown = Shown { digits: 0, decimals: 2, stable: false, over: true };

    #[test]
    fn header_sign_zero_padded_frames_are_those_of_the_samples() {
        check(&hdr2_sign8_unit3(shown(12_345, 2, true), "g"), b"ST,+00123.45  g\r\n");
        check(&hdr2_sign8_unit3(shown(-12, 4, false), "g"), b"US,-00000.0012  g\r\n");
        check(&hdr2_sign8_unit3(OVER, "g"), b"OL,+9999999E+19\r\n");
    }

    #[test]
    fn header_mode_frames_are_those_of_the_samples() {
        let widths = Mode2Widths { value: 7, unit: 2 };
        check(&hdr2_mode2_sign_value_unit(shown(1240, 3, true), "kg", widths), b"ST,GS,+  1.240kg\r\n");
        check(&hdr2_mode2_sign_value_unit(shown(860, 3, false), "kg", widths), b"US,GS,+  0.860kg\r\n");
        check(&hdr2_mode2_sign_value_unit(shown(0, 2, true), "g", SMALL_BALANCE), b"ST,GS,+      0.00     g\r\n");
        check(&hdr2_mode2_sign_value_unit(OVER, "g", SMALL_BALANCE), b"");
    }

    #[test]
    fn echoed_frames_are_those_of_the_samples() {
        check(&echo_status_value10_unit('S', shown(10_000, 2, true), "g"), b"S S     100.00 g\r\n");
        check(&echo_status_value10_unit('S', shown(9997, 2, false), "g"), b"S D      99.97 g\r\n");
        check(&echo_status_value10_unit('S', OVER, "g"), b"S +\r\n");
    }

    #[test]
    fn plain_frames_are_those_of_the_samples() {
        check(&plain_value_unit(shown(29_182, 3, true), "g"), b"      29.182 g \r\n");
        check(&plain_value_unit(OVER, "g"), b"");
    }

    #[test]
    fn cell_lines_are_those_of_the_samples() {
        check(&dual_cell_line([412_345, -98_765]), b"412345\t-98765\n");
    }

    #[test]
    fn angle_sentences_are_those_of_the_samples() {
        let sample = [("PITCH", "+02.9".to_owned()), ("ROLL", "+00.7".to_owned())];
        check(&nmea_xdr("WI", &sample), b"$WIXDR,A,+02.9,D,PITCH,A,+00.7,D,ROLL*07\r\n");
        check(angle_text(-3).as_bytes(), b"-00.03");
        check(angle_text(6250).as_bytes(), b"+62.50");
    }

    #[test]
    fn scanned_texts_carry_a_symbology_identifier() {
        check(&scanner("]C1010950600013435221A12"), b"]C1010950600013435221A12\r");
        check(&scanner("step bond"), b"]C0step bond\r");
    }
}
