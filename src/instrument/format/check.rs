//! Checks that instruments send with a frame: what is computed, and how it is written.
//!
//! In: bytes before the check. Out: the check's value, and the value that was sent.

use super::file::{Method, WrittenAs};

/// A check field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Check {
    pub(crate) method: Method,
    /// First byte of the frame that is counted.
    pub(crate) from: usize,
    /// Bytes right before the check that are not counted.
    pub(crate) less: usize,
    pub(crate) written_as: WrittenAs,
}

impl Check {
    /// How many bytes the check itself takes.
    pub(crate) fn width(&self) -> usize {
        let bytes = if self.method == Method::Crc16Modbus { 2 } else { 1 };
        match self.written_as {
            WrittenAs::Byte | WrittenAs::LowFirst | WrittenAs::HighFirst => bytes,
            WrittenAs::Hex => 2 * bytes,
            WrittenAs::Digits => 3,
        }
    }

    /// The check of the frame whose check field starts at `at`; `None` when the frame is too short for it.
    pub(crate) fn computed(&self, frame: &[u8], at: usize) -> Option<u32> {
        let counted = frame.get(self.from..at.checked_sub(self.less)?)?;
        Some(compute(self.method, counted))
    }

    /// The check that was sent in these bytes; `None` when they are not written as they should be.
    pub(crate) fn sent(&self, bytes: &[u8]) -> Option<u32> {
        let big_endian =
            |bytes: &mut dyn Iterator<Item = &u8>| bytes.fold(0, |sum, byte| (sum << 8) | u32::from(*byte));
        match self.written_as {
            WrittenAs::Byte | WrittenAs::HighFirst => Some(big_endian(&mut bytes.iter())),
            WrittenAs::LowFirst => Some(big_endian(&mut bytes.iter().rev())),
            WrittenAs::Hex => radix(bytes, 16),
            WrittenAs::Digits => radix(bytes, 10),
        }
    }
}

/// Digits of a base, without sign or space.
fn radix(bytes: &[u8], base: u32) -> Option<u32> {
    bytes.iter().try_fold(0_u32, |sum, byte| sum.checked_mul(base)?.checked_add(char::from(*byte).to_digit(base)?))
}

fn compute(method: Method, bytes: &[u8]) -> u32 {
    let sum = bytes.iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte));
    match method {
        Method::Sum8 => u32::from(sum),
        Method::Sum8Negated => u32::from(sum.wrapping_neg()),
        Method::Sum7Negated => u32::from(sum.wrapping_neg() & 0x7f),
        Method::Xor => u32::from(bytes.iter().fold(0, |sum, byte| sum ^ byte)),
        Method::Crc16Modbus => u32::from(crc16_modbus(bytes)),
    }
}

/// CRC-16 with the reflected polynomial 0xA001 and start 0xFFFF, as the Modbus serial line guide gives it.
pub(crate) fn crc16_modbus(bytes: &[u8]) -> u16 {
    let mut crc = 0xffff_u16;
    for byte in bytes {
        crc ^= u16::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xa001 } else { crc >> 1 };
        }
    }
    crc
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_crc_agrees_with_the_published_check_value() {
        // "123456789" gives 0x4B37: catalogue of parametrised CRC algorithms, entry CRC-16/MODBUS.
        assert_eq!(crc16_modbus(b"123456789"), 0x4b37);
    }

    #[test]
    fn a_negated_sum_brings_the_whole_frame_to_zero() {
        let frame = b"\x02,0! 12345000000\r";
        let check = compute(Method::Sum7Negated, frame);
        let sum: u32 = frame.iter().map(|byte| u32::from(*byte)).sum();
        assert_eq!((sum + check) % 128, 0);
    }

    #[test]
    fn an_xor_is_that_of_the_nmea_example() {
        // The example sentence of many public NMEA-0183 introductions, its check 47 from memory:
        // $GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47
        let sentence = b"GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,";
        assert_eq!(compute(Method::Xor, sentence), 0x47);
    }
}
