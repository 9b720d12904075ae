//! The ports as a program under test meets them: opened by plain file reading, unplugged, renamed, at different paces.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]
#![expect(clippy::disallowed_methods, reason = "a test measures real time from outside of the bench")]

use std::fs::{File, OpenOptions};
use std::io::{Read as _, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use simulators::{Bench, BenchSettings, Clock, Fault, Instrument, Load, ScaleFamily};

/// Longest real time that any condition is waited for: far above what is needed, so that a busy machine does not fail it.
const PATIENCE: Duration = Duration::from_secs(20);

struct Table {
    bench: Bench,
    _folder: tempfile::TempDir,
}

fn table(pace: f64, family: ScaleFamily) -> Table {
    let folder = tempfile::tempdir().unwrap();
    let mut settings = BenchSettings::new(folder.path().join("ports"), Clock::new(pace), 1);
    settings.parts_scale_family = family;
    Table { bench: Bench::start(settings).unwrap(), _folder: folder }
}

/// Opens a port like a serial library does: for reading and writing, without making it the controlling terminal.
fn open(port: &Path) -> File {
    /// O_NOCTTY | O_NONBLOCK of Linux (asm-generic/fcntl.h, octal 400 and 4000).
    const FLAGS: i32 = 0o400 | 0o4000;
    OpenOptions::new().read(true).write(true).custom_flags(FLAGS).open(port).unwrap()
}

/// Reads until `enough` says so; what came.
fn read_until(port: &mut File, enough: impl Fn(&[u8]) -> bool) -> Vec<u8> {
    let (start, mut all, mut piece) = (Instant::now(), Vec::new(), [0_u8; 4096]);
    while !enough(&all) {
        assert!(start.elapsed() < PATIENCE, "only {:?}", all.escape_ascii().to_string());
        match port.read(&mut piece) {
            Ok(count) => all.extend_from_slice(&piece[..count]),
            Err(error) => assert_eq!(error.kind(), std::io::ErrorKind::WouldBlock, "{error}"),
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    all
}

fn contains(bytes: &[u8], part: &str) -> bool {
    bytes.windows(part.len()).any(|window| window == part.as_bytes())
}

/// Whole lines of what came, without the first, which may be cut.
fn lines(bytes: &[u8]) -> Vec<String> {
    String::from_utf8(bytes.to_vec()).unwrap().split_inclusive('\n').skip(1).map(str::to_owned).collect()
}

/// Waits until the link is gone or there.
fn wait_link(port: &Path, there: bool) -> Option<PathBuf> {
    let start = Instant::now();
    loop {
        let target = std::fs::read_link(port).ok();
        if target.is_some() == there {
            return target;
        }
        assert!(start.elapsed() < PATIENCE);
        std::thread::sleep(Duration::from_millis(1));
    }
}

#[test]
fn a_load_laid_on_the_scale_is_read_from_its_port() {
    let table = table(20.0, ScaleFamily::Hdr2Sign8Unit3);
    let mut port = open(&table.bench.port(Instrument::PartsScale));
    table.bench.lay(Instrument::PartsScale, Load::Part { mass_g: 203.2 }).unwrap();
    // Raw mode: the line end comes as it was sent, CR and LF.
    let came = read_until(&mut port, |all| contains(all, "ST,+00203.2") && all.ends_with(b"  g\r\n"));
    for line in lines(&came).iter().filter(|line| line.ends_with('\n')) {
        assert!(line.len() == 17 && (line.starts_with("ST,") || line.starts_with("US,")), "{line:?}");
    }
}

#[test]
fn every_instrument_sends_on_its_own_port() {
    let table = table(20.0, ScaleFamily::PlainValueUnit);
    let bench = &table.bench;
    let mut ports = Instrument::ALL.map(|instrument| open(&bench.port(instrument)));
    let [parts_scale, club_scale, beam, gauge, scanner] = &mut ports;
    read_until(parts_scale, |all| contains(all, "        0.00 g \r\n"));
    club_scale.write_all(b"SI\r\n").unwrap();
    read_until(club_scale, |all| contains(all, "S "));
    read_until(beam, |all| contains(all, "\t-") && contains(all, "\n"));
    bench.lay(Instrument::Gauge, Load::Angles { loft_deg: 34.0, lie_deg: 62.5 }).unwrap();
    read_until(gauge, |all| contains(all, ",D,LIE,A,+34.0") && contains(all, "$IIXDR,A,+62."));
    bench.scan("]Q3010950600013435221A12");
    assert_eq!(read_until(scanner, |all| all.ends_with(b"\r")), b"]Q3010950600013435221A12\r");
}

#[test]
fn a_port_may_be_opened_and_closed_any_number_of_times_and_holds_nothing_old() {
    let table = table(50.0, ScaleFamily::Hdr2Sign8Unit3);
    let name = table.bench.port(Instrument::Beam);
    let device = std::fs::read_link(&name).unwrap();
    for _ in 0..20 {
        drop(open(&name));
        let mut port = open(&name);
        read_until(&mut port, |all| lines(all).len() > 3);
    }
    assert_eq!(std::fs::read_link(&name).unwrap(), device);

    // Nobody reads for 20 bench seconds, then the first reading is of the new load and not of the empty scale.
    let name = table.bench.port(Instrument::PartsScale);
    drop(open(&name));
    table.bench.lay(Instrument::PartsScale, Load::Part { mass_g: 100.0 }).unwrap();
    std::thread::sleep(Duration::from_millis(400));
    let came = read_until(&mut open(&name), |all| lines(all).len() > 3);
    assert!(lines(&came).iter().all(|line| !line.contains("+0000")), "{:?}", lines(&came));
}

#[test]
fn a_port_that_a_killed_reader_left_locked_can_be_opened_again() {
    // The superuser may open a locked port in any case: this proves something only for other users.
    let table = table(20.0, ScaleFamily::Hdr2Sign8Unit3);
    let name = table.bench.port(Instrument::PartsScale);
    let mut port = open(&name);
    read_until(&mut port, |all| contains(all, "\n"));
    rustix::termios::ioctl_tiocexcl(&port).unwrap();
    drop(port);
    let start = Instant::now();
    while OpenOptions::new().read(true).custom_flags(0o4400).open(&name).is_err() {
        assert!(start.elapsed() < PATIENCE);
        std::thread::sleep(Duration::from_millis(1));
    }
    read_until(&mut open(&name), |all| contains(all, "ST,+00000.0"));
}

#[test]
fn an_unplugged_port_is_gone_until_it_is_plugged_in_again() {
    let table = table(20.0, ScaleFamily::Hdr2Sign8Unit3);
    let name = table.bench.port(Instrument::PartsScale);
    let mut port = open(&name);
    read_until(&mut port, |all| contains(all, "\n"));
    table.bench.set_fault(Instrument::PartsScale, Fault::Unplugged);
    wait_link(&name, false);
    // The open port ends: end of file or an error, but no more bytes for ever.
    let (start, mut piece) = (Instant::now(), [0_u8; 4096]);
    loop {
        match port.read(&mut piece) {
            Ok(0) => break,
            Err(error) if error.kind() != std::io::ErrorKind::WouldBlock => break,
            _ => assert!(start.elapsed() < PATIENCE),
        }
    }
    table.bench.set_fault(Instrument::PartsScale, Fault::None);
    wait_link(&name, true);
    read_until(&mut open(&name), |all| contains(all, "ST,+00000.0"));
}

#[test]
fn a_renamed_port_is_found_under_the_old_link_and_a_new_number() {
    let table = table(20.0, ScaleFamily::Hdr2Sign8Unit3);
    let name = table.bench.port(Instrument::PartsScale);
    let before = wait_link(&name, true);
    table.bench.set_fault(Instrument::PartsScale, Fault::Renamed);
    let start = Instant::now();
    while std::fs::read_link(&name).ok() == before {
        assert!(start.elapsed() < PATIENCE);
        std::thread::sleep(Duration::from_millis(1));
    }
    read_until(&mut open(&name), |all| contains(all, "ST,+00000.0"));
}

#[test]
fn a_silent_instrument_says_nothing_though_its_port_is_there() {
    let table = table(20.0, ScaleFamily::Hdr2Sign8Unit3);
    let mut port = open(&table.bench.port(Instrument::Beam));
    read_until(&mut port, |all| contains(all, "\n"));
    table.bench.set_fault(Instrument::Beam, Fault::Silence);
    // It is silent when a hundred reads in a row find nothing: they take 100 ms, in which it would send 160 lines.
    let (start, mut piece, mut quiet) = (Instant::now(), [0_u8; 4096], 0);
    while quiet < 100 {
        assert!(start.elapsed() < PATIENCE);
        quiet = if port.read(&mut piece).is_ok() { 0 } else { quiet + 1 };
        std::thread::sleep(Duration::from_millis(1));
    }
}

#[test]
fn the_pace_makes_frames_come_faster_and_leaves_their_bytes_alone() {
    for pace in [1.0, 10.0, 50.0] {
        let table = table(pace, ScaleFamily::Hdr2Sign8Unit3);
        let mut port = open(&table.bench.port(Instrument::Beam));
        read_until(&mut port, |all| !all.is_empty());
        let start_s = table.bench.clock().now_s();
        let came = read_until(&mut port, |_| table.bench.clock().now_s() > start_s + pace.min(20.0));
        let lasted_s = table.bench.clock().now_s() - start_s;
        let lines = lines(&came);
        let rate = f64::from(u32::try_from(lines.len()).unwrap()) / lasted_s;
        // 80 lines a bench second; a tenth is allowed for the ends and a busy machine.
        assert!((72.0..88.0).contains(&rate), "pace {pace}: {rate} lines a bench second");
        let whole = lines.iter().filter(|line| line.ends_with('\n'));
        assert!(whole.clone().all(|line| line.split('\t').count() == 2), "{lines:?}");
    }
}

#[test]
fn stopping_takes_the_links_away() {
    let table = table(1.0, ScaleFamily::Hdr2Sign8Unit3);
    let name = table.bench.port(Instrument::Gauge);
    assert!(std::fs::read_link(&name).is_ok());
    table.bench.stop();
    assert!(std::fs::symlink_metadata(&name).is_err());
}

#[test]
fn a_load_that_does_not_fit_an_instrument_is_refused() {
    let table = table(1.0, ScaleFamily::Hdr2Sign8Unit3);
    let refused = table.bench.lay(Instrument::Beam, Load::Part { mass_g: 1.0 }).unwrap_err();
    assert_eq!(refused.to_string(), "Part { mass_g: 1.0 } cannot be laid on the beam");
}
