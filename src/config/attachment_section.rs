//! How an instrument is attached, from the keys `keys`, `prefix`, `contact`, `accept_key` and `void_key` of its table.

use super::document::Section;
use crate::instrument::attachment::{Attachment, ModemLine, PedalKeys};
use crate::instrument::event_device::key_code;
use crate::measurement::reading::InstrumentKind;

/// Where event devices are; a serial port never is.
const EVENT_DEVICES: &str = "/dev/input/";

/// Reads how an instrument of this kind on this port is attached.
pub(super) fn read_attachment(section: &Section<'_>, kind: InstrumentKind, port: &str) -> Option<Attachment> {
    let by_keys = if section.has("keys") { section.flag("keys")? } else { false };
    let port_fits = by_keys == port.starts_with(EVENT_DEVICES);
    match kind {
        InstrumentKind::Scale | InstrumentKind::Beam | InstrumentKind::Gauge | InstrumentKind::Thermometer
            if by_keys =>
        {
            section.mistake("keys", "only a scanner or a pedal is read by its keys; leave `keys` out");
            None
        }
        _ if by_keys && !port_fits => {
            section.mistake(
                "port",
                "expected an event device such as \"/dev/input/by-id/...-event-kbd\", for `keys = true`",
            );
            None
        }
        InstrumentKind::Scanner | InstrumentKind::Pedal if !port_fits => {
            section.mistake("port", "this is an event device: write `keys = true`, or give a serial port");
            None
        }
        _ if !port_fits => {
            section.mistake("port", "expected a serial port, not an event device");
            None
        }
        InstrumentKind::Scanner if by_keys => {
            if section.has("line") {
                section.mistake("line", "a scanner that types has no line settings; leave `line` out");
            }
            Some(Attachment::Typing { prefix: prefix(section)? })
        }
        InstrumentKind::Pedal if by_keys => {
            if section.has("contact") {
                section.mistake("contact", "a pedal is a contact or a key: leave `contact` or `keys` out");
            }
            pedal_keys(section).map(Attachment::Keys)
        }
        InstrumentKind::Pedal => {
            let lines: Vec<(&str, ModemLine)> = ModemLine::ALL.iter().map(|line| (line.name(), *line)).collect();
            if !section.has("contact") {
                section.mistake(
                    "contact",
                    "expected the line that the pedal closes, \"CTS\" or \"DSR\"; or `keys = true`",
                );
            }
            section.choice("contact", &lines).map(Attachment::Contact)
        }
        _ => Some(Attachment::Serial),
    }
}

fn prefix(section: &Section<'_>) -> Option<String> {
    if !section.has("prefix") {
        return Some(String::new());
    }
    let prefix = section.text("prefix")?;
    let fits = prefix.len() <= 8 && prefix.bytes().all(|byte| (b' '..=b'~').contains(&byte));
    if !fits {
        section.mistake("prefix", "expected at most 8 characters of a US keyboard");
    }
    fits.then(|| prefix.to_owned())
}

fn pedal_keys(section: &Section<'_>) -> Option<PedalKeys> {
    let key = |name: &'static str| -> Option<Option<u16>> {
        if !section.has(name) {
            return Some(None);
        }
        let code = key_code(section.text(name)?);
        if code.is_none() {
            section.mistake(name, "expected the name of a key as Linux has it, such as \"F13\" or \"PAGEDOWN\"");
        }
        code.map(Some)
    };
    let (accept, void) = (key("accept_key"), key("void_key"));
    let keys = PedalKeys { accept: accept?, void: void? };
    if keys.accept.is_some() && keys.accept == keys.void {
        section.mistake("void_key", "expected another key than `accept_key`; one key does both: press it long to void");
        return None;
    }
    Some(keys)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::bench_file::read_bench;

    /// An instrument with these lines; its attachment, or all mistakes.
    fn check(lines: &str, expected: Result<Attachment, &str>) {
        let text = format!("site = \"s\"\nbench = \"b\"\n[[instrument]]\nid = \"one\"\n{lines}\n");
        let got = read_bench("bench.toml", &text).map(|mut bench| bench.instruments.remove(0).attachment);
        match (got, expected) {
            (Ok(got), Ok(expected)) => assert_eq!(got, expected, "{lines}"),
            (Err(mistakes), Err(words)) => {
                let said = mistakes.to_string();
                assert!(said.contains(words) && mistakes.0.len() == 1, "{lines}: {said}");
            }
            (got, _) => panic!("{lines}: {got:?}"),
        }
    }

    const SCANNER: &str = "kind = \"scanner\"\nformat = \"scanner\"\n";
    const KBD: &str = "port = \"/dev/input/by-id/usb-x-event-kbd\"\n";
    const TTY: &str = "port = \"/dev/serial/by-id/usb-x\"\n";

    #[test]
    fn a_scanner_is_serial_or_types() {
        check(&format!("{SCANNER}{TTY}"), Ok(Attachment::Serial));
        check(&format!("{SCANNER}{TTY}keys = false"), Ok(Attachment::Serial));
        check(&format!("{SCANNER}{KBD}keys = true"), Ok(Attachment::Typing { prefix: String::new() }));
        check(&format!("{SCANNER}{KBD}keys = true\nprefix = \"~\""), Ok(Attachment::Typing { prefix: "~".into() }));
        check(&format!("{SCANNER}{KBD}keys = true\nprefix = \"µ\""), Err("US keyboard"));
        check(&format!("{SCANNER}{KBD}keys = true\nline = \"9600 8N1\""), Err("has no line settings"));
        check(&format!("{SCANNER}{KBD}"), Err("write `keys = true`"));
        check(&format!("{SCANNER}{TTY}keys = true"), Err("expected an event device"));
        check(&format!("{SCANNER}{TTY}keys = 1"), Err("true or false"));
    }

    #[test]
    fn a_pedal_is_a_contact_or_keys() {
        let pedal = "kind = \"pedal\"\n";
        check(&format!("{pedal}{TTY}contact = \"CTS\""), Ok(Attachment::Contact(ModemLine::ClearToSend)));
        check(&format!("{pedal}{TTY}contact = \"DSR\""), Ok(Attachment::Contact(ModemLine::DataSetReady)));
        check(&format!("{pedal}{TTY}contact = \"RI\""), Err("one of: CTS, DSR"));
        check(&format!("{pedal}{TTY}"), Err("the line that the pedal closes"));
        check(&format!("{pedal}{KBD}keys = true"), Ok(Attachment::Keys(PedalKeys::default())));
        let two = PedalKeys { accept: Some(183), void: Some(184) };
        check(&format!("{pedal}{KBD}keys = true\naccept_key = \"F13\"\nvoid_key = \"F14\""), Ok(Attachment::Keys(two)));
        check(&format!("{pedal}{KBD}keys = true\naccept_key = \"F99\""), Err("such as \"F13\""));
        check(&format!("{pedal}{KBD}keys = true\naccept_key = \"B\"\nvoid_key = \"b\""), Err("another key"));
        check(&format!("{pedal}{KBD}"), Err("write `keys = true`"));
        check(&format!("{pedal}{TTY}contact = \"CTS\"\nformat = \"scanner\""), Err("a pedal has no wire format"));
    }

    #[test]
    fn a_scale_is_never_read_by_keys() {
        let scale = "kind = \"scale\"\nformat = \"plain-value-unit\"\nresolution = \"0.1 g\"\n";
        check(&format!("{scale}{TTY}keys = true"), Err("only a scanner or a pedal"));
        check(&format!("{scale}{KBD}"), Err("expected a serial port"));
    }
}
