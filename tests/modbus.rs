//! Register devices against an independent device: pymodbus from PyPI serves registers over a pseudo-terminal, our port
//! asks it as it would any instrument.
//!
//! The device is `modbus/device.py`; it is installed into a folder of its own at the first run. Without PyPI this test
//! fails and says so.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod support;

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use benchscribe::clock::Clock;
use benchscribe::instrument::attachment::Attachment;
use benchscribe::instrument::format::{Format, Frame};
use benchscribe::instrument::port::{self, PortEvent, PortSettings};
use support::python::python;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

/// What is installed.
const PACKAGES: [&str; 2] = ["pymodbus==3.16.1", "pyserial==3.5"];
/// Longest time for one answer.
const PATIENCE: Duration = Duration::from_secs(10);

/// The device as a child process; dropping it ends it.
struct Device {
    child: Child,
    port: PathBuf,
}

impl Device {
    fn start() -> Self {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/modbus/device.py");
        let mut child = Command::new(python("pymodbus", &PACKAGES)).arg(script).stdout(Stdio::piped()).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let device = Self { child, port: PathBuf::from(line.trim()) };
        assert!(device.port.starts_with("/dev/"), "the device did not start: {line:?}");
        device
    }
}

impl Drop for Device {
    fn drop(&mut self) {
        // It may have ended already.
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// The first frame that comes when the device is asked like this; settings such as `address=2`, blanks apart.
async fn ask(device: &Device, family: &str, settings: &str) -> Result<Frame, String> {
    let mut format = Format::built_in(family).unwrap();
    for (key, value) in settings.split_whitespace().filter_map(|setting| setting.split_once('=')) {
        format.set(key, value).unwrap();
    }
    // A pseudo-terminal has no parity.
    format.line.parity = benchscribe::instrument::format::Parity::None;
    let (out, mut inbox) = mpsc::channel(64);
    let stop = CancellationToken::new();
    let port = PortSettings {
        instrument: 0,
        attachment: Attachment::Serial,
        path: device.port.clone(),
        format: Arc::new(format),
    };
    let task = tokio::spawn(port::run(port, Clock::start(1.0), out, stop.clone()));
    let answer = tokio::time::timeout(PATIENCE, async {
        loop {
            match inbox.recv().await.map(|message| message.event) {
                Some(PortEvent::Frame(frame, _)) => return Ok(*frame),
                Some(PortEvent::Refused { reason, .. }) => return Err(reason),
                Some(PortEvent::Passed(raw)) => return Err(format!("passed over: {raw:02x?}")),
                Some(PortEvent::Lost { reason }) => return Err(reason),
                Some(PortEvent::Ready) => {}
                None => return Err("the port ended".to_owned()),
            }
        }
    });
    let answer = answer.await.unwrap_or_else(|_| Err("no answer".to_owned()));
    stop.cancel();
    task.await.unwrap();
    answer
}

/// A frame in a line: value, unit, and the words for what it says; `-` where it says nothing.
fn line(frame: &Frame) -> String {
    let value = frame.value.map_or("-".to_owned(), |value| value.to_string());
    let unit = frame.unit.map_or("-", |unit| unit.as_str());
    let stable = frame.stable.map_or("-", |stable| if stable { "stable" } else { "moving" });
    let range = frame.overload.map_or("-", |over| if over { "out" } else { "in" });
    let mass = frame.net_gross.and_then(|mass| mass.as_str()).unwrap_or("-");
    format!("{value} {unit} {stable} {range} {mass}")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn registers_of_an_independent_device_are_read() {
    let device = Device::start();
    for (family, settings, expected) in [
        ("modbus-float", "address=0", "12.34 - - - -"),
        ("modbus-float", "address=2 word_order=CDAB", "-0.5 - - - -"),
        ("modbus-float", "address=4 word_order=BADC", "1234.5 - - - -"),
        ("modbus-float", "address=6 word_order=DCBA", "0.1 - - - -"),
        ("modbus-float", "address=100 function=4", "56.75 - - - -"),
        ("modbus-int32", "address=20 decimals=2", "-1234.56 g - in -"),
        ("modbus-int32", "address=22 decimals=1 word_order=CDAB", "203.4 g - in -"),
        ("modbus-int32", "address=24 decimals=4 unit=kg word_order=BADC", "7.0000 kg - in -"),
        ("modbus-int32", "address=26 word_order=DCBA", "-1 g - in -"),
        ("modbus-int32", "address=30", "- - - out -"),
        ("modbus-int32", "address=32", "- - - out -"),
        ("modbus-int32-status", "address=40", "203.40 g stable in net"),
        ("modbus-int32-status", "address=44 unit=kg", "-0.5 kg moving in gross"),
        ("modbus-int32-status", "address=48", "- - - out gross"),
        ("modbus-int32-status", "address=52", "- - - out gross"),
        ("modbus-int32-status", "address=56", "- - - - gross"),
        // The device has no such register: it says so, and that is no number.
        ("modbus-float", "address=5000", "- - - - -"),
        ("modbus-int32-status", "address=5000", "- - - - -"),
    ] {
        let answer = ask(&device, family, &format!("device=5 {settings}")).await;
        assert_eq!(answer.as_ref().map(line), Ok(expected.to_owned()), "{family} {settings}");
    }
    let four = ask(&device, "modbus-float", "device=5 address=10 registers=8").await.unwrap();
    let numbers: Vec<String> = four.channels.iter().map(|(_, number)| number.to_string()).collect();
    assert_eq!(numbers, ["1.5", "-2.25", "3", "4.125"]);

    // A bit that is not described, more decimals than described: refused, never guessed.
    for address in [60, 64] {
        let answer = ask(&device, "modbus-int32-status", &format!("device=5 address={address}")).await;
        assert!(answer.as_ref().is_err(), "{address}: {answer:?}");
    }
    // There is nobody at another address; this device says so in the other's place, and that is no number either.
    let answer = ask(&device, "modbus-float", "device=9").await;
    assert!(answer.as_ref().is_ok_and(|frame| frame.value.is_none()), "{answer:?}");
}

#[test]
fn settings_out_of_range_are_refused_with_the_range() {
    let mut format = Format::built_in("modbus-int32").unwrap();
    for (key, value, range) in [
        ("device", "248", "1 to 247"),
        ("device", "0", "1 to 247"),
        ("function", "6", "3 to 4"),
        ("decimals", "x", "0 to 6"),
    ] {
        let error = format.set(key, value).unwrap_err().to_string();
        assert!(error.contains(range), "{key}={value}: {error}");
    }
}
