//! How long a frame takes from the line to the page, and how much memory the daemon takes, against a loop that does
//! nothing but pass lines on. Prints; asserts nothing.
//!
//! `cargo bench --bench latency` builds with optimisation and runs on five instruments at the world's pace. One of them
//! is this program's own pseudo-terminal: the instant of each write is known, and each frame carries a number of its own.
//! `BENCHSCRIBE_FRAMES` sets how many frames are measured (300).
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a benchmark prints, and ends when something is wrong")]
#![expect(clippy::disallowed_methods, reason = "a benchmark measures real time from outside of the daemon")]

#[path = "../support/mod.rs"]
mod support;

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

use serialport::{SerialPort as _, TTYPort};

use support::daemon::{Daemon, instrument};
use support::http::Stream;
use support::table::Table;
use support::{Dice, wait_for};

/// Shortest and longest time between two frames: a scale sends ten a second, and the measurement must not march in step
/// with the page's own beat.
const BETWEEN: (Duration, Duration) = (Duration::from_millis(60), Duration::from_millis(140));
/// Longest wait for a frame to come out.
const LOST: Duration = Duration::from_secs(2);
/// Each frame is this much heavier than the one before: little enough to be shown at once, and no two are alike.
const STEP_G: f64 = 0.03;
/// How many times a load is laid down.
const LOADS: u32 = 20;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let Some(at) = arguments.iter().position(|argument| argument == "pass-through") {
        return pass_through(&arguments[at + 1]);
    }
    let frames = std::env::var("BENCHSCRIBE_FRAMES").ok().and_then(|text| text.parse().ok()).unwrap_or(300);
    let build = if cfg!(debug_assertions) { "debug build: figures mean little" } else { "release build" };
    println!("latency from a frame's write to its event on the page, five instruments, pace 1, {build}");

    let (line, port) = pair();
    let table = Table::with_port(1, 1.0, "parts-scale", &port);
    let daemon = Daemon::run(&table.config, 1.0);
    let shown = watch(&daemon);
    let daemon_ms = measure(line, &shown, frames);
    let loads = measure_loads(&shown, daemon_ms.line);
    let (now_kb, peak_kb) = resident_kb(daemon.pid());
    drop(daemon);

    let (line, port) = pair();
    let plain = Plain::start(&port);
    let plain_ms = measure(line, &plain.lines(), frames);
    let (plain_kb, _) = resident_kb(plain.child.id());

    report("daemon", &daemon_ms.times_ms, daemon_ms.missed);
    report("pass-through", &plain_ms.times_ms, plain_ms.missed);
    let ratio = |share| quantile(&daemon_ms.times_ms, share) / quantile(&plain_ms.times_ms, share);
    println!("ratio          p50 {:8.1}    p99 {:8.1}", ratio(0.5), ratio(0.99));
    println!("p99 {:.1} ms (goal: under 50 ms)", quantile(&daemon_ms.times_ms, 0.99));
    // From the first frame of the new level to its first showing, however many frames that takes.
    report("load laid down", &loads.times_ms, loads.missed);
    let mb = |kb: u64| f64::from(u32::try_from(kb).unwrap()) / 1024.0;
    println!(
        "resident memory {:.1} MB now, {:.1} MB at most (goal: under 40 MB); pass-through {:.1} MB; ratio {:.1}",
        mb(now_kb),
        mb(peak_kb),
        mb(plain_kb),
        mb(now_kb) / mb(plain_kb)
    );
}

/// A pseudo-terminal: our end, and the name of the other one.
fn pair() -> (TTYPort, String) {
    let (line, port) = TTYPort::pair().unwrap();
    let name = port.name().unwrap();
    // Without a reader writes fail; the daemon is not there yet, so the other end stays open for as long as this lives.
    std::mem::forget(port);
    (line, name)
}

/// A value and when it came out.
type Came = (f64, Instant);

struct Measured {
    times_ms: Vec<f64>,
    missed: u32,
    line: TTYPort,
}

/// Writes frames and waits for each to come out.
fn measure(mut line: TTYPort, came: &Receiver<Came>, frames: u32) -> Measured {
    let mut dice = Dice(7);
    let mut measured = Measured { times_ms: Vec::new(), missed: 0, line: line.try_clone_native().unwrap() };
    // The first ones wake everything up.
    for number in 0..frames + 10 {
        let value_g = 100.0 + STEP_G * f64::from(number);
        let written = write_frame(&mut line, value_g);
        let found = wait_value(came, |shown| (shown - value_g).abs() < STEP_G / 3.0);
        match found {
            _ if number < 10 => {}
            Some(at) => measured.times_ms.push(at.duration_since(written).as_secs_f64() * 1000.0),
            None => measured.missed += 1,
        }
        std::thread::sleep(dice.time(BETWEEN.0, BETWEEN.1).saturating_sub(written.elapsed()));
    }
    measured
}

/// Lays loads of different mass down by changing the level at once, ten frames a second.
fn measure_loads(came: &Receiver<Came>, mut line: TTYPort) -> Measured {
    let mut measured = Measured { times_ms: Vec::new(), missed: 0, line: line.try_clone_native().unwrap() };
    for number in 0..LOADS {
        let value_g = 200.0 + 20.0 * f64::from(number);
        let first = write_frame(&mut line, value_g);
        let mut next = first;
        let mut found = None;
        while found.is_none() && first.elapsed() < LOST {
            next += Duration::from_millis(100);
            while found.is_none() && Instant::now() < next {
                let shown = came.recv_timeout(next.saturating_duration_since(Instant::now()));
                found = shown.ok().filter(|(shown, _)| (shown - value_g).abs() < 0.5).map(|(_, at)| at);
            }
            if found.is_none() {
                write_frame(&mut line, value_g);
            }
        }
        match found {
            Some(at) => measured.times_ms.push(at.duration_since(first).as_secs_f64() * 1000.0),
            None => measured.missed += 1,
        }
        for _ in 0..5 {
            std::thread::sleep(Duration::from_millis(100));
            write_frame(&mut line, value_g);
        }
    }
    measured
}

/// A frame of `hdr2-sign8-unit3`, the parts scale's format in the demo; the instant before its first byte goes out.
fn write_frame(line: &mut TTYPort, value_g: f64) -> Instant {
    let frame = format!("ST,+{value_g:08.2}  g\r\n");
    let written = Instant::now();
    line.write_all(frame.as_bytes()).unwrap();
    written
}

fn wait_value(came: &Receiver<Came>, wanted: impl Fn(f64) -> bool) -> Option<Instant> {
    let start = Instant::now();
    while let Ok((value, at)) = came.recv_timeout(LOST.saturating_sub(start.elapsed())) {
        if wanted(value) {
            return Some(at);
        }
    }
    None
}

/// Follows what the page shows of the parts scale.
fn watch(daemon: &Daemon) -> Receiver<Came> {
    let mut stream = Stream::open(daemon.address).unwrap();
    let (shown, came) = mpsc::channel();
    std::thread::spawn(move || {
        while let Some((event, at)) = stream.next_timed() {
            let value = instrument(&event, "parts-scale")["readings"][0]["value"].as_f64();
            // The benchmark has ended when nobody listens.
            if value.is_some_and(|value| shown.send((value, at)).is_err()) {
                return;
            }
        }
    });
    came
}

/// The loop to compare with, in a process of its own.
struct Plain {
    child: Child,
    connection: TcpStream,
}

impl Plain {
    fn start(port: &str) -> Self {
        let program = std::env::current_exe().unwrap();
        let mut child = Command::new(program).args(["pass-through", port]).stdout(Stdio::piped()).spawn().unwrap();
        let mut address = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut address).unwrap();
        let connection = wait_for("the pass-through loop", || TcpStream::connect(address.trim()).ok());
        Self { child, connection }
    }

    fn lines(&self) -> Receiver<Came> {
        let lines = BufReader::new(self.connection.try_clone().unwrap()).lines();
        let (shown, came) = mpsc::channel();
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                let at = Instant::now();
                let value = line.trim_start_matches("ST,+").trim_end_matches('g').trim().parse();
                if value.is_ok_and(|value| shown.send((value, at)).is_err()) {
                    return;
                }
            }
        });
        came
    }
}

impl Drop for Plain {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// Reads lines from a port and writes them to whoever connects first.
fn pass_through(port: &str) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    println!("{}", listener.local_addr().unwrap());
    let (mut connection, _) = listener.accept().unwrap();
    connection.set_nodelay(true).unwrap();
    let mut port = BufReader::new(serialport::new(port, 2400).timeout(Duration::from_secs(60)).open_native().unwrap());
    let mut line = String::new();
    while port.read_line(&mut line).is_ok_and(|count| count > 0) && connection.write_all(line.as_bytes()).is_ok() {
        line.clear();
    }
}

/// Memory of a process now and at most, in kB, as Linux counts it (`/proc/PID/status`).
fn resident_kb(pid: u32) -> (u64, u64) {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let of = |key: &str| {
        let line = status.lines().find(|line| line.starts_with(key)).unwrap();
        line.split_whitespace().nth(1).unwrap().parse().unwrap()
    };
    (of("VmRSS:"), of("VmHWM:"))
}

fn report(what: &str, times_ms: &[f64], missed: u32) {
    let [p50, p99, most] = [0.5, 0.99, 1.0].map(|share| quantile(times_ms, share));
    println!(
        "{what:<14} p50 {p50:8.3} ms p99 {p99:8.3} ms most {most:8.3} ms, {} frames, {missed} missed",
        times_ms.len()
    );
}

/// The value below which a share of the others lies (nearest rank).
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "ranks are small whole numbers"
)]
fn quantile(times_ms: &[f64], share: f64) -> f64 {
    let mut sorted = times_ms.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = (share * sorted.len() as f64).ceil().max(1.0) as usize;
    sorted.get(rank - 1).copied().unwrap_or(f64::NAN)
}
