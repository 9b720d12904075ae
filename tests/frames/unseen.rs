//! Codes, channels and orders of bytes, and families that the program does not know: a description is all they need.

use std::sync::Arc;

use benchscribe::instrument::format::Format;

use super::support::{Got, decode, format, hex, line};

fn only_frame(got: &[Got]) -> &benchscribe::instrument::format::Frame {
    let [Got::Frame(frame, _)] = got else { panic!("{got:?}") };
    frame
}

/// CRC-16 of the Modbus guide, bit by bit over the message as one long division: written apart from the program's.
fn with_crc(message: &[u8]) -> Vec<u8> {
    let mut register = 0xffff_u32;
    for bit in message.iter().flat_map(|byte| (0..8).map(move |place| u32::from(byte >> place & 1))) {
        let out = (register ^ bit) & 1;
        register = (register >> 1) ^ (0xa001 * out);
    }
    [message, &u16::try_from(register).unwrap().to_le_bytes()].concat()
}

#[test]
fn floats_come_in_four_orders() {
    // 203.5 is 0x434B8000 in IEEE 754: 1.58984375 times 2^7, exponent 134, fraction 0x4B8000.
    for (order, bytes) in [("ABCD", "434b8000"), ("CDAB", "8000434b"), ("BADC", "4b430080"), ("DCBA", "00804b43")] {
        let frame = with_crc(&[hex("010304"), hex(bytes)].concat());
        let got = decode(&format("modbus-float", &format!("word_order={order}")), &frame);
        assert_eq!(line(only_frame(&got)), "203.5 - - - -", "{order}");
    }
    let two = with_crc(&hex("010308434b8000bf000000"));
    let got = decode(&format("modbus-float", ""), &two);
    let frame = only_frame(&got);
    let channels: Vec<_> = frame.channels.iter().map(|(name, number)| format!("{name}={number}")).collect();
    assert_eq!(channels, ["1=203.5", "2=-0.5"]);
    assert_eq!(frame.value.unwrap().as_str(), "203.5");
    for refused in ["0103047fc00000", "01830241", "0103044b"] {
        let got = decode(&format("modbus-float", ""), &with_crc(&hex(refused)));
        assert!(got.iter().all(|got| got.frame().is_none()) && !got.is_empty(), "{refused}");
    }
}

fn sentence(body: &str) -> Vec<u8> {
    format!("${body}*{:02X}\r\n", body.bytes().fold(0, |sum, byte| sum ^ byte)).into_bytes()
}

#[test]
fn angles_are_read_and_other_transducers_passed_over() {
    let nmea = format("nmea-xdr", "");
    for (body, expected, channels) in [
        ("IIXDR,A,-11.5,D,ROLL", "-11.5 deg - - -", "ROLL=-11.5"),
        ("IIXDR,A,61.50,D,LIE,A,9.75,D,LOFT", "61.50 deg - - -", "LIE=61.50 LOFT=9.75"),
        ("IIXDR,C,21.5,C,TEMP,A,4.2,D,PITCH", "4.2 deg - - -", "PITCH=4.2"),
        ("IIXDR,A,1.5,M,HEAVE,A,4.2,D,PITCH", "4.2 deg - - -", "PITCH=4.2"),
        ("IIXDR,A,,D,PITCH,A,0.7,D,ROLL", "- - - - -", "ROLL=0.7"),
        ("IIXDR,A,3.0,D,", "3.0 deg - - -", "1=3.0"),
    ] {
        let got = decode(&nmea, &sentence(body));
        let frame = only_frame(&got);
        let read: Vec<_> = frame.channels.iter().map(|(name, number)| format!("{name}={number}")).collect();
        assert_eq!((line(frame).as_str(), read.join(" ").as_str()), (expected, channels), "{body}");
    }
    for body in ["IIXDR,C,21.5,C,TEMP", "IIHDM,181.0,M", "IIXDR,A,1.0,D,A,A,2.0,D,A", "IIXDR,A,x,D,PITCH"] {
        assert!(decode(&nmea, &sentence(body)).iter().all(|got| got.frame().is_none()), "{body}");
    }
}

#[test]
fn two_cells_and_no_more() {
    let cells = format("dual-cell-line", "");
    for text in ["-8388608,8388607\r\n", "412345\t -98765\n"] {
        let got = decode(&cells, text.as_bytes());
        assert_eq!(only_frame(&got).channels.len(), 2, "{text}");
        assert_eq!(line(only_frame(&got)), "- count - - -");
    }
    for text in ["412345\n", "412345\t-98765412346\t-98766\n", "412345\t-98.765\n", "412345\t\n"] {
        assert!(decode(&cells, text.as_bytes()).iter().all(|got| got.frame().is_none()), "{text}");
    }
}

#[test]
fn scanned_codes() {
    let scanner = format("scanner", "");
    for (text, symbology, rest) in [
        ("]d20109506000134352\x1d10AB\x1d21A12\r", "GS1 DataMatrix", "01=09506000134352 10=AB 21=A12"),
        ("]Q3010950600013435221A12\r\n", "GS1 QR Code", "01=09506000134352 21=A12"),
        ("]Q3W-1042/1\r", "QR Code", "text=W-1042/1"),
        ("]C0W-1042\r", "Code 128", "text=W-1042"),
        ("]E09506000134352\r", "EAN-13", "text=9506000134352"),
    ] {
        let got = decode(&scanner, text.as_bytes());
        let code = only_frame(&got).code.clone().unwrap();
        let mut read: Vec<_> = code.identifiers.iter().map(|(key, content)| format!("{key}={content}")).collect();
        read.extend(code.text.map(|text| format!("text={text}")));
        assert_eq!((code.symbology.as_str(), read.join(" ").as_str()), (symbology, rest), "{text}");
    }
    for text in ["]C1010950600013435321A12\r", "]C101095060\r", "W-1042\r", "]C0\r", "]C0W-\x0042\r", "]C0W-1042"] {
        let got = decode(&scanner, text.as_bytes());
        assert!(got.iter().all(|got| got.frame().is_none()) && !got.is_empty(), "{text}");
    }
    let got = decode(&scanner, b"]C0W-10]C0W-1042\r");
    let codes: Vec<_> = got.iter().filter_map(|got| got.frame()?.code.clone()?.text).collect();
    assert_eq!(codes, ["W-1042"], "a code cut by the next one is dropped");
}

/// The frame of a family that is described only here.
fn check(toml: &str, bytes: &[u8], expected: &str) {
    let format = Arc::new(Format::from_toml(toml, "unseen").unwrap());
    let got = decode(&format, bytes);
    let lines: Vec<_> = got.iter().filter_map(|got| got.frame()).map(line).collect();
    assert_eq!(lines.join("; "), expected, "{got:?}");
}

const LINE: &str = "mode = \"streaming\"\n[line]\nbaud = 9600\ndata_bits = 8\nparity = \"none\"\nstop_bits = 1\n";

#[test]
fn digits_written_backwards_need_only_a_description() {
    let toml = format!(
        "description = \"equals sign, seven characters of a number written backwards\"\n{LINE}
        [framing]\nstart = [\"=\"]\nlength = 8\nfollowed_by_start = true\nlongest = 8\nidle_ms = 100
        [[layout]]\nname = \"a load\"\nfields = [{{ text = \"=\" }}, {{ number = 7, pad = \"zero\", reversed = true, minus = \"adjacent\" }}]"
    );
    check(&toml, b"=06.5210=06.521-", "0125.60 - - - -; -125.60 - - - -".replace("0125", "125").as_str());
    check(&toml, b"=06.5=06.5210", "125.60 - - - -");
}

#[test]
fn a_controlled_handshake_frame_needs_only_a_description() {
    let toml = format!(
        "description = \"SOH STX, status, sign, 6 characters, unit, check, ETX EOT\"\n{LINE}
        [request]\nbytes = \"05\"\nevery_ms = 200\ntimeout_ms = 500\nanswer = \"06\"\nthen = \"11\"
        [framing]\nstart = [\"\\u0001\\u0002\"]\nend = \"\\u0003\\u0004\"\nbetween = \"\\u0006\"\nlongest = 20\nidle_ms = 100
        [[layout]]\nname = \"a load\"\nsays = [\"in range\"]
        fields = [{{ text = \"\\u0001\\u0002\" }}, {{ letters = {{ S = \"stable\", U = \"moving\" }} }}, {{ sign = \" -\" }}, {{ number = 6 }},
        {{ unit = 2 }}, {{ check = \"xor\", from = 2 }}]"
    );
    let body = b"S- 1.234kg";
    let check_byte = body.iter().fold(0, |sum, byte| sum ^ byte);
    let frame = [&b"\x06\x01\x02"[..], body, &[check_byte, 3, 4]].concat();
    check(&toml, &frame, "-1.234 kg stable in-range -");
    let mut wrong = frame.clone();
    wrong[8] ^= 1;
    check(&toml, &wrong, "");
    let format = Format::from_toml(&toml, "unseen").unwrap();
    assert_eq!(format.request.unwrap().handshake.unwrap().then, [0x11]);
}

#[test]
fn a_line_of_named_members_needs_only_a_description() {
    let toml = format!(
        "description = \"one object a line\"\n{LINE}
        [framing]\nstart = ['{{']\nend = \"}}\\n\"\nlongest = 80\nidle_ms = 100
        [[layout]]\nname = \"a load\"
        fields = [{{ text = '{{\"w\":' }}, {{ number = \"1-10\", pad = \"zero\", minus = \"adjacent\" }}, {{ text = ',\"u\":\"' }}, {{ unit = \"1-3\" }},
        {{ text = '\",\"s\":' }}, {{ letters = {{ 1 = \"stable\", 0 = \"moving\" }} }}]"
    );
    check(
        &toml,
        b"{\"w\":-12.5,\"u\":\"g\",\"s\":1}\n{\"w\":3,\"u\":\"kg\",\"s\":0}\n",
        "-12.5 g stable - -; 3 kg moving - -",
    );
}

#[test]
fn registers_with_decimals_and_status_bits_need_only_a_description() {
    let toml = format!(
        "description = \"a whole number of 32 bits, its decimals, status bits\"\n{LINE}
        [settings.word_order]\ndefault = \"ABCD\"\nallowed = [\"ABCD\", \"CDAB\"]
        [framing]\nlength_at = {{ byte = 2, plus = 5 }}\nlongest = 30\nidle_ms = 50
        [[layout]]\nname = \"a load\"\nsays = [\"in range\", \"g\"]
        fields = [{{ bytes = \"01 03 08\" }}, {{ integer = 4, signed = true, order = \"$word_order\" }}, {{ decimals = 2, as = \"high first\" }},
        {{ bits = 2, parts = [{{ at = 0, is = [\"moving\", \"stable\"] }}, {{ at = 1, is = [\"\", \"over\"] }}, {{ at = 2, is = [\"gross\", \"net\"] }}] }},
        {{ check = \"crc16 modbus\", as = \"low first\" }}]"
    );
    check(&toml, &with_crc(&hex("010308 ffffcfc7 0002 0005")), "-123.45 g stable in-range net");
    check(&toml, &with_crc(&hex("010308 00003039 0001 0002")), "- - - over gross");
    check(&toml, &with_crc(&hex("010308 00003039 0001 0102")), "");
}

#[test]
fn silence_alone_can_end_a_frame() {
    let toml = format!(
        "description = \"counts in hexadecimal, ended by silence\"\n{LINE}
        [framing]\nlongest = 12\nidle_ms = 50
        [[layout]]\nname = \"a count\"\nsays = [\"count\"]
        fields = [{{ number = 4, base = 16, pad = \"zero\", implied = 1, sentinels = {{ \"65535\" = \"over\" }} }}]"
    );
    check(&toml, b"00FF", "25.5 count - - -");
    check(&toml, b"FFFF", "- - - over -");
    check(&toml, b"00F", "");
}

#[test]
fn a_mistake_in_a_description_names_its_line_and_what_is_allowed() {
    let good = format!(
        "description = \"d\"\n{LINE}[framing]\nend = \"\\n\"\nlongest = 20\nidle_ms = 50\n[[layout]]\nname = \"n\"\nfields = [\n  {FIELD},\n]\n",
        FIELD = "{ number = 8 }"
    );
    assert!(Format::from_toml(&good, "mine.toml").is_ok());
    for (from, to, line, part) in [
        ("end", "ending", 9, "expected one of"),
        ("baud = 9600", "baud = 3", 3, "50 to 4000000"),
        ("parity = \"none\"", "parity = \"mark\"", 6, "`odd`"),
        ("{ number = 8 }", "{ number = 8, signed = true }", 15, "point_needed"),
        ("{ number = 8 }", "{ letters = { A = \"steady\" } }", 15, "stable"),
        ("{ number = 8 }", "{ width = 8 }", 15, "one of text"),
        ("{ number = 8 }", "{ number = \"8-4\" }", 15, "range"),
        ("longest = 20", "longest = 0", 8, "4096"),
        ("idle_ms = 50\n", "", 8, "idle_ms"),
    ] {
        let error = Format::from_toml(&good.replace(from, to), "mine.toml").unwrap_err().to_string();
        assert!(error.contains(&format!("mine.toml, line {line}:")) && error.contains(part), "{to}: {error}");
    }
    let unknown = Format::built_in("no-such").unwrap_err().to_string();
    assert!(unknown.contains("plain-value-unit"), "{unknown}");
    let mut format = Format::built_in("modbus-float").unwrap();
    assert!(format.set("word_order", "XYZ").unwrap_err().to_string().contains("DCBA"));
    assert!(format.set("check", "sum").unwrap_err().to_string().contains("word_order"));
}

#[test]
fn the_example_of_the_guide_works_as_it_stands() {
    let guide = include_str!("../../config/formats/README.md");
    let (_, rest) = guide.split_once("```toml\n").unwrap();
    let (example, _) = rest.split_once("```").unwrap();
    check(example, b"ST,NT,-  12.34 g\r\nOL,NT,\r\n", "-12.34 g stable in-range net; - - - over -");
}

#[test]
fn every_description_in_the_folder_is_part_of_the_program() {
    let folder = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/config/formats")).unwrap();
    let names = folder.map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<_> = names.filter_map(|name| name.strip_suffix(".toml").map(str::to_owned)).collect();
    names.sort();
    assert_eq!(names, Format::families());
    for family in names {
        assert_eq!(Format::built_in(&family).unwrap().family, family);
    }
}
