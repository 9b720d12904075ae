//! The machine: programs that grab ports, the clock, the disk.

use std::fs;
use std::io::Write as _;
use std::path::Path;

use super::Finding;
use super::port_checks::has_rules;
use crate::cli::machine::{Machine, Program};
use crate::clock::Clock;

/// Programs known to open serial ports unasked: the name of the process, what it does, how to keep it away.
const GRABBERS: [(&str, &str, &str); 3] = [
    (
        "brltty",
        "takes common USB adapters for braille displays",
        "if nobody here reads braille: `sudo systemctl mask --now brltty.service brltty-udev.service`",
    ),
    (
        "ModemManager",
        "asks each new port for a modem",
        "install config/udev/70-benchscribe.rules, or `sudo systemctl disable --now ModemManager`",
    ),
    (
        "gpsd",
        "takes ports for receivers of satellites",
        "`sudo systemctl disable --now gpsd.socket gpsd.service`, or name its port in its own configuration",
    ),
];
/// Programs that set the clock.
const CLOCK_SETTERS: [&str; 6] = ["systemd-timesyn", "chronyd", "ntpd", "ntpd-rs", "openntpd", "ptp4l"];
/// Written when the clock was set since the start (systemd-timesyncd).
const CLOCK_WAS_SET: &str = "/run/systemd/timesync/synchronized";
/// No clock is before this program was made: 1 November 2025, in microseconds since 1970.
const MADE_US: i64 = 1_761_955_200_000_000;
/// Less space than this is too little, in bytes: a month of readings and what else goes on.
const LEAST_SPACE: u64 = 512 * 1024 * 1024;
/// A reading is on disk before it is shown, so a disk should be faster than this, in milliseconds.
const LONGEST_SYNC_MS: f64 = 200.0;

pub(super) fn look(machine: &Machine, data: Option<&Path>) -> Vec<Finding> {
    let programs = machine.programs();
    let mut findings = grabbers(&programs, has_rules(machine));
    findings.push(clock(machine, &programs, Clock::start(1.0).now().at_us));
    findings.extend(data.into_iter().flat_map(disk));
    findings
}

fn grabbers(programs: &[Program], has_rules: bool) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (name, what, remedy) in GRABBERS {
        let Some(program) = programs.iter().find(|program| program.name == name) else { continue };
        let found = format!("{name} runs (process {}) and {what}", program.pid);
        findings.push(match name {
            "ModemManager" if has_rules => {
                Finding::well("programs", format!("{found}; our rules keep it off adapters"))
            }
            _ => Finding::wrong("programs", found, remedy),
        });
    }
    if findings.is_empty() {
        findings.push(Finding::well("programs", "none runs that is known to grab ports"));
    }
    findings
}

fn clock(machine: &Machine, programs: &[Program], now_us: i64) -> Finding {
    let setter = programs.iter().find(|program| CLOCK_SETTERS.contains(&program.name.as_str()));
    if now_us < MADE_US {
        return Finding::wrong(
            "clock",
            "it is years behind",
            "connect to a network with time, or set it: `sudo date -s ...`",
        );
    }
    match setter {
        _ if machine.at(CLOCK_WAS_SET).exists() => Finding::well("clock", "set from the network since the start"),
        Some(program) if program.name == "systemd-timesyn" => Finding::wrong(
            "clock",
            "not yet set from the network since the start",
            "connect the machine; times of readings are wrong until then",
        ),
        Some(program) => Finding::well("clock", format!("{} keeps it", program.name)),
        None => Finding::wrong(
            "clock",
            "no program keeps it",
            "`sudo systemctl enable --now systemd-timesyncd`; the order of readings stays right in any case, their times do not",
        ),
    }
}

fn disk(data: &Path) -> Vec<Finding> {
    let shown = data.display();
    if !data.exists() {
        return vec![Finding::note("disk", format!("the data folder {shown} is not there yet; `run` makes it"))];
    }
    vec![space(data), sync(data)]
}

fn space(data: &Path) -> Finding {
    let shown = data.display();
    match rustix::fs::statvfs(data) {
        Ok(found) => {
            let free = found.f_bavail.saturating_mul(found.f_frsize);
            let mib = free / (1024 * 1024);
            if free < LEAST_SPACE {
                let remedy = "make room: when the disk is full measuring stops, nothing half is kept";
                Finding::wrong("disk", format!("{mib} MiB are left for {shown}"), remedy)
            } else {
                Finding::well("disk", format!("{mib} MiB are left for {shown}"))
            }
        }
        Err(error) => {
            Finding::wrong("disk", format!("{shown} cannot be asked for its space ({error})"), "check the disk")
        }
    }
}

/// Writes a small file, waits until it is on the disk, takes it away.
fn sync(data: &Path) -> Finding {
    let file = data.join(format!(".doctor-{}", std::process::id()));
    let clock = Clock::start(1.0);
    let written = (|| {
        let mut out = fs::File::create(&file)?;
        out.write_all(&[0; 4096])?;
        out.sync_all()
    })();
    let took_ms = clock.now().t_s * 1000.0;
    let removed = if file.exists() { fs::remove_file(&file) } else { Ok(()) };
    let shown = data.display();
    match written.and(removed) {
        Ok(()) if took_ms > LONGEST_SYNC_MS => Finding::wrong(
            "disk",
            format!("{shown} takes {took_ms:.0} ms to keep 4 KiB for good"),
            "put the data folder on a faster disk: each reading waits for it",
        ),
        Ok(()) => Finding::well("disk", format!("{shown} keeps 4 KiB for good in {took_ms:.1} ms")),
        Err(error) => Finding::wrong(
            "disk",
            format!("{shown} cannot be written ({error})"),
            "give the folder to the user of benchscribe: `sudo chown -R $USER FOLDER`",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn programs(names: &[&str]) -> Vec<Program> {
        names.iter().zip(1..).map(|(name, pid)| Program { pid, name: (*name).to_owned() }).collect()
    }

    #[test]
    fn a_clock_that_nobody_keeps_or_that_is_years_behind_is_wrong() {
        let folder = tempfile::tempdir().unwrap();
        let machine = Machine::new(folder.path());
        let state = |names: &[&str], now_us: i64| clock(&machine, &programs(names), now_us).state;
        assert_eq!(state(&[], MADE_US), super::super::State::Wrong);
        assert_eq!(state(&["chronyd"], MADE_US), super::super::State::Well);
        assert_eq!(state(&["systemd-timesyn"], MADE_US), super::super::State::Wrong);
        assert_eq!(state(&["chronyd"], 3_600_000_000), super::super::State::Wrong, "1970");
        fs::create_dir_all(machine.at("/run/systemd/timesync")).unwrap();
        fs::write(machine.at(CLOCK_WAS_SET), "").unwrap();
        assert_eq!(state(&["systemd-timesyn"], MADE_US), super::super::State::Well);
    }

    #[test]
    fn a_disk_is_tried_and_left_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let findings = disk(folder.path());
        assert_eq!(findings.len(), 2, "{findings:?}");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
