//! The program itself on pseudo-terminals: every family with every parity that shows in the bytes, asked or not.
//!
//! A pseudo-terminal has no speed, so any speed is right; parity stands in bit 7, as on a line with seven bits read with eight.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use benchscribe::instrument::format::{Mode, Parity};
use serde_json::Value;

use super::alone;
use super::frames::{Chance, Sample, samples, varied};
use super::pty::Plugged;

/// An instrument on a pseudo-terminal; dropping it switches it off.
struct Instrument {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Instrument {
    fn start(link: &Path, sample: &Sample, parity: Parity, seed: u64) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let ended = Arc::clone(&stop);
        let (sample, format) = (sample.clone(), sample.format());
        let mut port = Plugged::behind(link);
        let thread = std::thread::spawn(move || {
            let mut chance = Chance(seed);
            let every = match format.mode {
                Mode::OnKey => Duration::from_millis(500),
                _ => Duration::from_millis(100),
            };
            let (mut due, mut asked) = (Instant::now(), Vec::new());
            while !ended.load(Ordering::Relaxed) {
                for byte in port.hear() {
                    asked.push(if parity == Parity::None { byte } else { byte & 0x7f });
                    if format.request.as_ref().is_some_and(|request| asked.ends_with(&request.bytes)) {
                        asked.clear();
                        port.send(&with_parity(&varied(&sample, &mut chance), parity));
                    }
                }
                if format.request.is_none() && due.elapsed() > every {
                    due = Instant::now();
                    port.send(&with_parity(&varied(&sample, &mut chance), parity));
                }
            }
        });
        Self { stop, thread: Some(thread) }
    }
}

impl Drop for Instrument {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        self.thread.take().unwrap().join().ok();
    }
}

fn with_parity(bytes: &[u8], parity: Parity) -> Vec<u8> {
    let wanted = match parity {
        Parity::None => return bytes.to_vec(),
        Parity::Even => 0,
        Parity::Odd => 1,
    };
    bytes.iter().map(|byte| if byte.count_ones() % 2 == wanted { *byte } else { byte | 0x80 }).collect()
}

fn identify(arguments: &[&str], ports: &[PathBuf]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_benchscribe")).arg("identify").args(arguments).args(ports).output().unwrap()
}

fn lines(output: &Output) -> Vec<Value> {
    String::from_utf8_lossy(&output.stdout).lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

#[test]
fn every_family_is_known_on_a_port_with_every_parity_that_shows() {
    let _alone = alone();
    let step = if std::env::var_os("BENCHSCRIBE_IDENTIFY_ALL").is_some() { 1 } else { 3 };
    let mut cases = Vec::new();
    for sample in samples() {
        let needs_eight = sample.bytes.iter().any(|byte| *byte >= 0x80);
        for parity in [Parity::None, Parity::Even, Parity::Odd] {
            if parity == Parity::None || !needs_eight {
                cases.push((sample.clone(), parity));
            }
        }
    }
    let cases: Vec<_> = cases.into_iter().step_by(step).collect();
    let (mut right, mut wrong, mut unsure) = (0_usize, Vec::new(), Vec::new());
    for (number, batch) in cases.chunks(8).enumerate() {
        let folder = tempfile::tempdir().unwrap();
        let ports: Vec<PathBuf> = (0..batch.len()).map(|place| folder.path().join(format!("port-{place}"))).collect();
        let seed = |place: usize| u64::try_from(number * 100 + place).unwrap();
        let instruments: Vec<Instrument> = batch
            .iter()
            .zip(&ports)
            .enumerate()
            .map(|(place, ((sample, parity), port))| Instrument::start(port, sample, *parity, seed(place)))
            .collect();
        let output = identify(&["--json"], &ports);
        drop(instruments);
        for ((sample, parity), line) in batch.iter().zip(lines(&output)) {
            let bits = match parity {
                Parity::None => "8N1",
                Parity::Even => "7E1",
                Parity::Odd => "7O1",
            };
            // What needs eight bits can have any parity here: nobody sees it.
            let needs_eight = sample.bytes.iter().any(|byte| *byte >= 0x80);
            let is_line =
                line["line"].as_str().is_some_and(|line| line.ends_with(bits) || needs_eight && line.contains(" 8"));
            let told = format!("{} {bits}: {line}", sample.id);
            match line["sure"].as_bool().unwrap() {
                true if line["family"] == sample.family.as_str() && is_line => right += 1,
                true => wrong.push(told),
                false => unsure.push(told),
            }
        }
    }
    println!("on ports: {right} of {} right, {} unsure, {} wrong", cases.len(), unsure.len(), wrong.len());
    unsure.iter().for_each(|told| println!("  {told}"));
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(right * 100 >= cases.len() * 95);
}

fn sample(id: &str) -> Sample {
    samples().into_iter().find(|sample| sample.id == id).unwrap()
}

const HEAD: &str = "site = \"s\"\nbench = \"b\"\n# kept as it is\n";

#[test]
fn what_was_found_is_added_to_a_configuration_once() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    let (scale, beam, silent) = (folder.path().join("a"), folder.path().join("b"), folder.path().join("c"));
    let config = folder.path().join("bench.toml");
    std::fs::write(&config, HEAD).unwrap();
    let _scale = Instrument::start(&scale, &sample("o01"), Parity::Even, 1);
    let _beam = Instrument::start(&beam, &sample("o45"), Parity::None, 2);
    let _silent = Plugged::behind(&silent);
    let write = ["--write", config.to_str().unwrap(), "--seconds", "5"];

    let output = identify(&write, std::slice::from_ref(&scale));
    let words = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let text = std::fs::read_to_string(&config).unwrap();
    assert!(text.starts_with(HEAD), "{text}");
    for line in ["id = \"scale\"", "format = \"hdr2-sign8-unit3\"", "line = \"9600 7E1\"", "resolution = \"0.01 g\""] {
        assert!(text.contains(line) && words.contains(line), "{line} in {text} and {words}");
    }
    let checked = Command::new(env!("CARGO_BIN_EXE_benchscribe")).args(["check", "--config"]).arg(&config).status();
    assert!(checked.unwrap().success());

    for (port, why) in
        [(scale, "is there already"), (beam, "a beam needs its calibration"), (silent, "silent: nothing came")]
    {
        let output = identify(&write, &[port]);
        let words = [output.stdout, output.stderr].concat();
        let words = String::from_utf8_lossy(&words);
        assert!(output.status.code() == Some(1) && words.contains(why), "{why}: {words}");
        assert_eq!(std::fs::read_to_string(&config).unwrap(), text);
    }
}

#[test]
fn the_instrument_that_sends_gets_the_channel() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    let ports: Vec<PathBuf> = ["other", "right", "silent"].map(|name| folder.path().join(name)).to_vec();
    let table = |id: &str, port: &Path| {
        format!(
            "[[instrument]]\nid = \"{id}\"\nkind = \"scale\"\nport = \"{}\"   # of {id}\nformat = \"hdr2-sign8-unit3\"\nline = \"2400 8N1\"\nresolution = \"0.1 g\"\n",
            port.display()
        )
    };
    let config = folder.path().join("bench.toml");
    let text = [HEAD.to_owned(), table("taken", &ports[0]), table("wanted", Path::new("/dev/away"))].concat();
    std::fs::write(&config, &text).unwrap();
    let _taken = Instrument::start(&ports[0], &sample("o01"), Parity::None, 1);
    let _right = Instrument::start(&ports[1], &sample("o01"), Parity::None, 2);
    let _silent = Plugged::behind(&ports[2]);
    let config_text = config.to_str().unwrap();

    let output = identify(&["--claim", "wanted", "--config", config_text, "--seconds", "8"], &ports);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let expected = text.replace("/dev/away", ports[1].to_str().unwrap());
    assert_eq!(std::fs::read_to_string(&config).unwrap(), expected);

    // A second one that sends the same: a person has to say which.
    let second = folder.path().join("second");
    let _second = Instrument::start(&second, &sample("o01"), Parity::None, 3);
    let both = [ports[1].clone(), second];
    let output = identify(&["--claim", "wanted", "--config", config_text, "--seconds", "8"], &both);
    let words = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.code() == Some(1) && words.contains("both send"), "{words}");

    let output = identify(&["--claim", "nobody", "--config", config_text], &ports);
    let words = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.code() == Some(2) && words.contains("expected one of: taken, wanted"), "{words}");
}

#[test]
fn a_port_that_cannot_be_listened_on_is_said_with_its_reason() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    let (file, away, held) = (folder.path().join("file"), folder.path().join("away"), folder.path().join("held"));
    std::fs::write(&file, "").unwrap();
    let port = Plugged::behind(&held);
    let _holder = serialport::new(port.device.to_str().unwrap(), 9600).open_native().unwrap();
    let output = identify(&["--json", "--seconds", "2"], &[file, away, held]);
    assert_eq!(output.status.code(), Some(1));
    let why: Vec<String> = lines(&output).iter().map(|line| line["why"].as_str().unwrap().to_owned()).collect();
    for (why, part) in why.iter().zip(["is no serial port", "is not there", "is in use by another program"]) {
        assert!(why.contains(part), "{why}");
    }
    // The one who has it is named: it is this test.
    assert!(why[2].contains(&format!("(process {})", std::process::id())), "{}", why[2]);
}
