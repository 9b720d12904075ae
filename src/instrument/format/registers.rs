//! The question for registers of a device, as Modbus over a serial line has it (open standard).
//!
//! In: which device, function, address and how many registers, as numbers or as the settings that hold them. Out: the
//! bytes to send, check included. Absent: the reply, which is a frame like any other.

use serde::Deserialize;

use super::check::crc16_modbus;
use super::compile::Settings;
use super::keys::Wrong;

/// Most registers that one reply can hold: its length is one byte, and a reply has at most 256 bytes (Modbus over serial
/// line, specification and implementation guide, from memory).
const MOST_REGISTERS: u16 = 125;

/// `registers = { device = 1, function = 3, address = 0, count = 2 }`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct RegistersFile {
    device: NumberOrSetting,
    function: NumberOrSetting,
    /// Counted from 0, as on the wire: the register that handbooks call 40001 is 0.
    address: NumberOrSetting,
    count: NumberOrSetting,
}

/// A whole number, or `"$NAME"` of the setting that holds it.
#[derive(Debug, Clone, Deserialize)]
#[serde(untagged, expecting = "expected a whole number, or a setting such as \"$device\"")]
pub(crate) enum NumberOrSetting {
    Number(i64),
    Setting(String),
}

impl NumberOrSetting {
    /// The number in force, within a range; the error names the key.
    pub(crate) fn value(&self, key: &str, settings: &Settings, least: i64, most: i64) -> Result<i64, Wrong> {
        let (found, number) = match self {
            Self::Number(number) => (number.to_string(), Some(*number)),
            Self::Setting(text) => {
                let held = text.strip_prefix('$').and_then(|name| settings.get(name));
                (held.unwrap_or(text).clone(), held.and_then(|held| held.parse().ok()))
            }
        };
        let number = number.filter(|number| (least..=most).contains(number));
        number.ok_or_else(|| {
            Wrong::new(key, format!("`{found}`"), format!("{least} to {most}, or $SETTING that holds it"))
        })
    }
}

impl RegistersFile {
    /// The bytes that ask.
    pub(crate) fn question(&self, settings: &Settings) -> Result<Vec<u8>, Wrong> {
        let word = |key, from: &NumberOrSetting, least, most: u16| {
            let value = from.value(key, settings, least, i64::from(most))?;
            u16::try_from(value).map_err(|_| Wrong::new(key, value, format!("{least} to {most}")))
        };
        let [_, device] = word("device", &self.device, 1, 247)?.to_be_bytes();
        // 3 reads holding registers, 4 input registers; nothing here can write.
        let [_, function] = word("function", &self.function, 3, 4)?.to_be_bytes();
        let mut bytes = vec![device, function];
        bytes.extend(word("address", &self.address, 0, u16::MAX)?.to_be_bytes());
        bytes.extend(word("count", &self.count, 1, MOST_REGISTERS)?.to_be_bytes());
        bytes.extend(crc16_modbus(&bytes).to_le_bytes());
        Ok(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_question_is_the_one_of_the_standards_examples() {
        let number = NumberOrSetting::Number;
        let setting = |name: &str| NumberOrSetting::Setting(name.to_owned());
        let check = |device, function, address, count, expected: &[u8]| {
            let settings = [("device".to_owned(), "17".to_owned())].into();
            let registers = RegistersFile { device, function, address, count };
            assert_eq!(registers.question(&settings).ok().unwrap_or_default(), expected);
        };
        // Printed in many public introductions to Modbus (from memory): device 17, registers 40108 to 40110, CRC 76 87;
        // and device 1, registers 40001 and 40002, CRC C4 0B.
        check(setting("$device"), number(3), number(107), number(3), b"\x11\x03\x00\x6b\x00\x03\x76\x87");
        check(number(1), number(3), number(0), number(2), b"\x01\x03\x00\x00\x00\x02\xc4\x0b");
        check(number(0), number(3), number(0), number(2), b"");
        check(number(1), number(6), number(0), number(2), b"");
        check(setting("$absent"), number(3), number(0), number(2), b"");
    }
}
