//! Ports that come and go, are held by others, send nothing or are none: what the task of a port makes of them.
//!
//! `BENCHSCRIBE_REPLUGS=1000` pulls plugs a thousand times, else 160 times.

#![expect(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a test has its own clock, prints its figures and stops at the unexpected"
)]

#[path = "pty/mod.rs"]
mod pty;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use benchscribe::clock::Clock;
use benchscribe::instrument::attachment::Attachment;
use benchscribe::instrument::format::Format;
use benchscribe::instrument::port::{PortEvent, PortMessage, PortSettings, run};
use tokio::sync::mpsc;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

use pty::Plugged;

/// How long anything may take.
const PATIENCE: Duration = Duration::from_secs(10);
/// How long a port that is plugged in again may take to bring readings: the goal of the design.
const BACK_WITHIN: Duration = Duration::from_secs(2);

/// Tasks of ports, and what they say.
struct Ports {
    messages: mpsc::Receiver<PortMessage>,
    stop: CancellationToken,
}

impl Ports {
    fn start(paths: &[PathBuf], family: &str, pace: f64) -> Self {
        // The tasks of all ports send; dropping this ends them.
        let (out, messages) = mpsc::channel(256);
        let stop = CancellationToken::new();
        let format = Arc::new(Format::built_in(family).unwrap());
        let clock = Clock::start(pace);
        for (instrument, path) in paths.iter().enumerate() {
            let (path, format) = (path.clone(), Arc::clone(&format));
            let settings = PortSettings { instrument, attachment: Attachment::Serial, path, format };
            tokio::spawn(run(settings, clock, out.clone(), stop.clone()));
        }
        Self { messages, stop }
    }

    async fn next(&mut self) -> PortMessage {
        timeout(PATIENCE, self.messages.recv()).await.unwrap().unwrap()
    }

    /// The reason with which the next port is lost; frames before it are passed over.
    async fn lost(&mut self) -> String {
        loop {
            if let PortEvent::Lost { reason } = self.next().await.event {
                return reason;
            }
        }
    }

    /// The next number that comes, and from where.
    async fn number(&mut self) -> (usize, f64) {
        loop {
            let message = self.next().await;
            if let PortEvent::Frame(frame, _) = message.event {
                return (message.instrument, frame.value.unwrap().to_f64());
            }
        }
    }
}

impl Drop for Ports {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

/// A frame of `hdr2-sign8-unit3`.
fn frame(value: usize) -> Vec<u8> {
    format!("ST,+{value:05}.00  g\r\n").into_bytes()
}

/// An instrument that sends its number 25 times a second, and whose plug is pulled when told.
struct Sender {
    unplug: std::sync::mpsc::Sender<Duration>,
    plugged: std::sync::mpsc::Receiver<(Instant, PathBuf)>,
    thread: Option<JoinHandle<()>>,
    stop: Arc<AtomicBool>,
}

impl Sender {
    fn start(link: &Path, value: usize) -> Self {
        let (unplug, pulls) = std::sync::mpsc::channel::<Duration>();
        let (tell, plugged) = std::sync::mpsc::channel();
        let stop = Arc::new(AtomicBool::new(false));
        let (link, ended) = (link.to_owned(), Arc::clone(&stop));
        let mut port = Plugged::behind(&link);
        let thread = std::thread::spawn(move || {
            while !ended.load(Ordering::Relaxed) {
                if let Ok(away) = pulls.try_recv() {
                    // The new number is taken while the old one is still in use, so it does change.
                    let before = port.device.clone();
                    if away.is_zero() {
                        port = Plugged::behind(&link);
                    } else {
                        std::fs::remove_file(&link).unwrap();
                        drop(port);
                        std::thread::sleep(away);
                        port = Plugged::behind(&link);
                    }
                    if away.is_zero() {
                        assert_ne!(port.device, before);
                    }
                    tell.send((Instant::now(), port.device.clone())).ok();
                }
                port.send(&frame(value));
                std::thread::sleep(Duration::from_millis(40));
            }
        });
        Self { unplug, plugged, thread: Some(thread), stop }
    }
}

impl Drop for Sender {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        self.thread.take().unwrap().join().ok();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn after_each_pulled_plug_the_readings_of_each_port_are_back_on_its_own_channel() {
    const PORTS: usize = 8;
    let cycles: usize = std::env::var("BENCHSCRIBE_REPLUGS").map_or(160, |text| text.parse().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let links: Vec<PathBuf> = (0..PORTS).map(|number| folder.path().join(format!("port-{number}"))).collect();
    let senders: Vec<Sender> = links.iter().enumerate().map(|(value, link)| Sender::start(link, value)).collect();
    let mut ports = Ports::start(&links, "hdr2-sign8-unit3", 1.0);
    let (mut slowest, mut devices) = (Duration::ZERO, std::collections::BTreeSet::new());
    let mut told = Vec::new();
    // A plug that is pulled before the port was first opened is pulled from nobody.
    let mut heard = [false; PORTS];
    while heard.contains(&false) {
        heard[ports.number().await.0] = true;
    }
    for round in 0..cycles.div_ceil(PORTS) {
        for (number, sender) in senders.iter().enumerate() {
            // In every other round the ports are away for a while, each for another while, and come back in another order.
            let away = if round % 2 == 0 { 0 } else { 30 + (number * 7 + round * 13) % 10 * 40 };
            sender.unplug.send(Duration::from_millis(u64::try_from(away).unwrap())).unwrap();
        }
        let (mut lost, mut back) = ([false; PORTS], [false; PORTS]);
        let mut plugged: [Option<Instant>; PORTS] = [None; PORTS];
        let began = Instant::now();
        while back.contains(&false) {
            // The other ports go on sending, so waiting for any message would wait for ever.
            let waits = began.elapsed() < 2 * PATIENCE;
            assert!(waits, "round {round}: lost {lost:?}, back {back:?}, plugged {plugged:?}, told {told:?}");
            let message = ports.next().await;
            let number = message.instrument;
            match message.event {
                PortEvent::Lost { reason } => {
                    lost[number] = true;
                    told.push((round, number, reason));
                }
                PortEvent::Frame(frame, _) => {
                    let value = frame.value.unwrap().to_f64();
                    assert!(
                        (value - f64::from(u32::try_from(number).unwrap())).abs() < 0.5,
                        "{value} on channel {number}"
                    );
                    if lost[number] && !back[number] {
                        if plugged[number].is_none() {
                            let (at, device) = senders[number].plugged.recv_timeout(PATIENCE).unwrap();
                            plugged[number] = Some(at);
                            devices.insert(device);
                        }
                        slowest = slowest.max(plugged[number].unwrap().elapsed());
                        back[number] = true;
                    }
                }
                _ => {}
            }
        }
    }
    println!("{cycles} plugs pulled on {PORTS} ports, {} numbers; the slowest was back in {slowest:?}", devices.len());
    assert!(slowest < BACK_WITHIN, "{slowest:?}");
}

#[tokio::test]
async fn bytes_from_before_the_opening_are_never_a_reading() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("port");
    let mut port = Plugged::behind(&link);
    port.send(&frame(99).repeat(20));
    // A frame that was under way: its end comes after the opening.
    port.send(b"ST,+000");
    tokio::time::sleep(Duration::from_millis(20)).await;
    let mut ports = Ports::start(&[link], "hdr2-sign8-unit3", 1.0);
    let sender = tokio::task::spawn_blocking(move || {
        std::thread::sleep(Duration::from_millis(100));
        port.send(b"88.00  g\r\n");
        for _ in 0..20 {
            port.send(&frame(7));
            std::thread::sleep(Duration::from_millis(10));
        }
    });
    for _ in 0..10 {
        assert!((ports.number().await.1 - 7.0).abs() < 0.01);
    }
    drop(ports);
    sender.await.unwrap();
}

#[tokio::test]
async fn a_port_is_held_against_others_and_waited_for_when_others_hold_it() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("port");
    let mut port = Plugged::behind(&link);
    let device = port.device.to_str().unwrap().to_owned();
    let other = serialport::new(&device, 9600).open_native().unwrap();
    let mut ports = Ports::start(std::slice::from_ref(&link), "hdr2-sign8-unit3", 1.0);
    let reason = ports.lost().await;
    assert!(reason.contains("in use by another program"), "{reason}");
    drop(other);
    let sender = tokio::task::spawn_blocking(move || {
        for _ in 0..100 {
            port.send(&frame(5));
            std::thread::sleep(Duration::from_millis(20));
        }
    });
    assert!((ports.number().await.1 - 5.0).abs() < 0.01);
    let refused = serialport::new(&device, 9600).open_native().unwrap_err();
    assert_eq!(refused.kind(), serialport::ErrorKind::NoDevice, "{refused}");
    drop(ports);
    sender.await.unwrap();
}

#[tokio::test]
async fn what_is_no_port_or_not_there_is_said_with_its_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("file");
    std::fs::write(&file, "").unwrap();
    for (path, words) in [
        (file, "is no serial port"),
        (PathBuf::from("/dev/null"), "is no serial port"),
        (folder.path().join("away"), "is not there; plug the instrument in"),
    ] {
        let mut ports = Ports::start(std::slice::from_ref(&path), "hdr2-sign8-unit3", 1.0);
        let reason = ports.lost().await;
        assert!(reason.contains(words) && reason.contains(path.to_str().unwrap()), "{reason}");
    }
}

#[tokio::test]
async fn a_silent_instrument_is_told_whether_it_sends_or_is_asked() {
    let folder = tempfile::tempdir().unwrap();
    for family in ["hdr2-sign8-unit3", "echo-status-value10-unit"] {
        let link = folder.path().join(family);
        let _port = Plugged::behind(&link);
        let mut ports = Ports::start(&[link], family, 20.0);
        let reason = ports.lost().await;
        assert!(reason.contains("is open and nothing comes"), "{family}: {reason}");
    }
}

#[tokio::test]
async fn bytes_that_are_no_frames_lead_to_identify() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("port");
    let mut port = Plugged::behind(&link);
    let mut ports = Ports::start(&[link], "hdr2-sign8-unit3", 10.0);
    let ended = Arc::new(AtomicBool::new(false));
    let stop = Arc::clone(&ended);
    let sender = tokio::task::spawn_blocking(move || {
        while !stop.load(Ordering::Relaxed) {
            port.send(b"\x98\xe0\x86\x9e\x86\x98");
            std::thread::sleep(Duration::from_millis(10));
        }
    });
    let reason = ports.lost().await;
    assert!(reason.contains("benchscribe identify"), "{reason}");
    ended.store(true, Ordering::Relaxed);
    sender.await.unwrap();
}
