//! `doctor` and the naming of ports, on machines that are built of files: `/sys`, `/proc`, `/dev` and `/etc` below a folder.
//!
//! The shape of those files is that of a Linux machine (Documentation/ABI/testing/sysfs-bus-usb, sysfs-tty, proc(5)).

#![expect(clippy::unwrap_used, reason = "a test that meets the unexpected stops there")]

use std::fs;
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _, symlink};
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// A machine of files.
struct FakeMachine {
    folder: tempfile::TempDir,
}

impl FakeMachine {
    /// A machine on which all is well: no ports, a clock that is kept, an ordinary user in no group.
    fn new() -> Self {
        let machine = Self { folder: tempfile::tempdir().unwrap() };
        for folder in ["sys/class/tty", "sys/devices", "proc", "dev", "etc/udev/rules.d"] {
            fs::create_dir_all(machine.at(folder)).unwrap();
        }
        machine.user(1000, &[]);
        machine.program(50, "chronyd");
        machine
    }

    fn at(&self, path: impl AsRef<Path>) -> PathBuf {
        self.folder.path().join(path.as_ref().strip_prefix("/").unwrap_or(path.as_ref()))
    }

    fn write(&self, path: &str, text: &str) {
        let file = self.at(path);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, text).unwrap();
    }

    fn user(&self, uid: u32, groups: &[u32]) {
        let groups: Vec<String> = groups.iter().map(u32::to_string).collect();
        let status =
            format!("Name:\tx\nUid:\t{uid}\t{uid}\t{uid}\t{uid}\nGid:\t9\t9\t9\t9\nGroups:\t{}\n", groups.join(" "));
        self.write("proc/self/status", &status);
    }

    fn program(&self, pid: u32, name: &str) {
        self.write(&format!("proc/{pid}/comm"), &format!("{name}\n"));
    }

    /// A USB adapter in a socket, with its links.
    fn adapter(&self, name: &str, socket: &str, serial: &str) {
        let usb = format!("sys/devices/usb1/{socket}");
        let own = format!("{usb}/{socket}:1.0/{name}");
        self.write(&format!("{usb}/idVendor"), "aaaa\n");
        self.write(&format!("{usb}/idProduct"), "0001\n");
        if !serial.is_empty() {
            self.write(&format!("{usb}/serial"), &format!("{serial}\n"));
        }
        self.write(&format!("{usb}/power/control"), "on\n");
        self.write(&format!("{usb}/{socket}:1.0/bInterfaceNumber"), "00\n");
        self.write(&format!("{own}/latency_timer"), "1\n");
        fs::create_dir_all(self.at(format!("{own}/tty/{name}"))).unwrap();
        symlink(self.at(&own), self.at(format!("{own}/tty/{name}/device"))).unwrap();
        symlink(self.at(format!("{own}/tty/{name}")), self.at(format!("sys/class/tty/{name}"))).unwrap();
        self.write(&format!("dev/{name}"), "");
        fs::set_permissions(self.at(format!("dev/{name}")), fs::Permissions::from_mode(0o660)).unwrap();
        for link in [format!("by-id/usb-adapter{serial}-if00"), format!("by-path/usb-0:{socket}:1.0")] {
            let link = self.at(format!("dev/serial/{link}"));
            fs::create_dir_all(link.parent().unwrap()).unwrap();
            // Of two adapters alike the later one has the name.
            fs::remove_file(&link).ok();
            symlink(format!("../../{name}"), link).unwrap();
        }
    }

    /// The findings that are not well, as `about: found; remedy`, and the exit code.
    fn doctor(&self, arguments: &[&str]) -> (Vec<String>, i32) {
        let root = self.folder.path().to_str().unwrap();
        let output = Command::new(env!("CARGO_BIN_EXE_benchscribe"))
            .args(["doctor", "--json", "--root", root])
            .args(arguments)
            .output()
            .unwrap();
        let lines = String::from_utf8(output.stdout).unwrap();
        let wrong = lines.lines().filter_map(|line| {
            let line: Value = serde_json::from_str(line).unwrap();
            let text = |key: &str| line[key].as_str().unwrap_or_default().to_owned();
            (text("state") == "wrong").then(|| format!("{}: {}; {}", text("about"), text("found"), text("remedy")))
        });
        (wrong.collect(), output.status.code().unwrap())
    }

    fn check(&self, expected: &[&str]) {
        let (wrong, code) = self.doctor(&[]);
        assert_eq!(wrong.len(), expected.len(), "{wrong:#?}");
        for (wrong, expected) in wrong.iter().zip(expected) {
            for part in expected.split(" … ") {
                assert!(wrong.contains(part), "{part:?} in {wrong:?}");
            }
        }
        assert_eq!(code, i32::from(!expected.is_empty()));
    }

    /// The group that the files of this machine have.
    fn group(&self) -> u32 {
        fs::metadata(self.folder.path()).unwrap().gid()
    }
}

#[test]
fn a_machine_on_which_all_is_well_has_no_findings() {
    let machine = FakeMachine::new();
    machine.check(&[]);
    machine.adapter("ttyUSB0", "1-1", "A1");
    machine.user(1000, &[machine.group()]);
    machine.check(&[]);
}

#[test]
fn a_user_outside_of_the_group_is_told_which() {
    let machine = FakeMachine::new();
    machine.adapter("ttyUSB0", "1-1", "A1");
    machine.user(4_000_000, &[4_000_000]);
    machine.write("etc/group", &format!("other:x:7:\ndialout:x:{}:\n", machine.group()));
    machine.check(&["permission: /dev/ttyUSB0 … usermod -aG dialout $USER"]);
}

#[test]
fn programs_that_grab_ports_are_named_with_their_remedy() {
    let machine = FakeMachine::new();
    machine.program(60, "brltty");
    machine.program(61, "ModemManager");
    machine.check(&["programs: brltty runs (process 60) … brltty-udev.service", "ModemManager … 70-benchscribe.rules"]);
    machine.write("etc/udev/rules.d/70-benchscribe.rules", "");
    machine.check(&["brltty"]);
}

#[test]
fn a_slow_or_sleepy_adapter_and_a_port_in_use_are_found() {
    let machine = FakeMachine::new();
    machine.adapter("ttyUSB0", "1-1.4", "A1");
    machine.user(0, &[]);
    machine.write("sys/devices/usb1/1-1.4/1-1.4:1.0/ttyUSB0/latency_timer", "16\n");
    machine.write("sys/devices/usb1/1-1.4/power/control", "auto\n");
    machine.program(70, "terminal");
    fs::create_dir_all(machine.at("proc/70/fd")).unwrap();
    symlink("/dev/ttyUSB0", machine.at("proc/70/fd/5")).unwrap();
    machine.check(&[
        "in use: /dev/ttyUSB0 is open in terminal (process 70)",
        "latency: … 16 ms … rules",
        "sleep: … auto",
    ]);
}

#[test]
fn a_clock_that_nobody_keeps_is_found() {
    let machine = FakeMachine::new();
    fs::remove_dir_all(machine.at("proc/50")).unwrap();
    machine.check(&["clock: no program keeps it"]);
}

#[test]
fn ports_of_the_configuration_that_are_missing_or_ambiguous_are_named() {
    let machine = FakeMachine::new();
    machine.user(0, &[]);
    machine.adapter("ttyUSB0", "1-1", "");
    machine.adapter("ttyUSB1", "1-2", "");
    machine.adapter("ttyUSB2", "1-3", "C3");
    let port = |id: &str, port: &str| {
        format!(
            "[[instrument]]\nid = \"{id}\"\nkind = \"scale\"\nport = \"{port}\"\nformat = \"hdr2-sign8-unit3\"\nresolution = \"0.1 g\"\n"
        )
    };
    let text = [
        "site = \"s\"\nbench = \"b\"\n[mqtt]\n".to_owned(),
        port("alike", "/dev/serial/by-id/usb-adapter-if00"),
        port("socket", "/dev/serial/by-path/usb-0:1-1:1.0"),
        port("named", "/dev/serial/by-id/usb-adapterC3-if00"),
        port("numbered", "/dev/ttyUSB2"),
        port("away", "/dev/serial/by-id/usb-adapterD4-if00"),
    ];
    machine.write("bench.toml", &text.join("\n"));
    let (wrong, code) = machine.doctor(&["--config", machine.at("bench.toml").to_str().unwrap()]);
    assert_eq!((wrong.len(), code), (3, 1), "{wrong:#?}");
    assert!(wrong[0].contains("alike") && wrong[0].contains("/dev/ttyUSB0 and /dev/ttyUSB1"), "{}", wrong[0]);
    assert!(wrong[1].contains("numbered") && wrong[1].contains("--claim numbered"), "{}", wrong[1]);
    assert!(wrong[2].contains("away") && wrong[2].contains("is not there"), "{}", wrong[2]);
}

/// The rule that keeps an adapter awake looks for the adapter's folder with a few words of shell: those words, run here.
#[test]
fn the_rule_finds_the_adapter_however_far_up_it_is() {
    let rules =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("config/udev/70-benchscribe.rules")).unwrap();
    let start = "RUN+=\"/bin/sh -c '";
    let line = rules.lines().find(|line| line.starts_with(start)).unwrap();
    let script = line.strip_prefix(start).unwrap().strip_suffix("'\"").unwrap();
    let machine = FakeMachine::new();
    machine.adapter("ttyUSB0", "1-1.4", "A1");
    machine.write("sys/devices/usb1/1-1.4/power/control", "auto\n");
    // As udev(7) replaces: %p the path of the device below /sys, %% and $$ the characters themselves; and in a C string \" is ".
    let script = script.replace("\\\"", "\"").replace("%%", "\u{1}").replace("$$", "$");
    let path = machine.at("sys/devices/usb1/1-1.4/1-1.4:1.0/ttyUSB0/tty/ttyUSB0");
    let script = script.replace("/sys%p", path.to_str().unwrap()).replace('\u{1}', "%");
    assert!(Command::new("/bin/sh").args(["-c", &script]).status().unwrap().success());
    assert_eq!(fs::read_to_string(machine.at("sys/devices/usb1/1-1.4/power/control")).unwrap(), "on\n");
}
