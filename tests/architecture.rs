//! The import table of DEVELOPERS.md, as a test: data flows one way, and pure modules stay pure.

#![expect(clippy::unwrap_used, reason = "a test that cannot read the sources has failed")]

use std::fs;
use std::path::{Path, PathBuf};

/// A module, what it may import of the crate besides itself, and what it must not contain.
struct Rule {
    module: &'static str,
    may_import: &'static [&'static str],
    must_not_contain: &'static [&'static str],
}

const PURE: &[&str] = &["tokio", "serde", "std::fs", "std::io", "Instant::now", "SystemTime", "std::net", "sqlx"];
const NO_TASKS: &[&str] = &["tokio::spawn", "TcpStream", "SqlitePool"];

const RULES: &[Rule] = &[
    Rule { module: "measurement", may_import: &[], must_not_contain: PURE },
    Rule { module: "club", may_import: &["measurement"], must_not_contain: PURE },
    Rule { module: "work_order", may_import: &["measurement", "club"], must_not_contain: PURE },
    Rule { module: "instrument", may_import: &["measurement", "clock"], must_not_contain: &["std::fs", "sqlx"] },
    Rule {
        module: "journal",
        may_import: &["measurement", "club", "work_order"],
        must_not_contain: &["rumqttc", "axum"],
    },
    Rule {
        module: "output",
        may_import: &["measurement", "club", "work_order", "journal", "config", "clock"],
        must_not_contain: &["serialport", "tokio_serial"],
    },
    Rule {
        module: "config",
        may_import: &["measurement", "club", "work_order", "instrument", "journal"],
        must_not_contain: NO_TASKS,
    },
    Rule { module: "audit.rs", may_import: &["journal", "proof", "work_order"], must_not_contain: NO_TASKS },
    Rule {
        module: "proof.rs",
        may_import: &["measurement", "club", "work_order", "instrument"],
        must_not_contain: PURE,
    },
];

/// Serial IO lives in one file, below `port.rs`.
const ONLY_PLACE_OF_SERIAL_IO: &str = "src/instrument/port/line.rs";
/// So does the IO on event devices, of scanners that type and pedals.
const ONLY_PLACE_OF_EVENT_DEVICES: &str = "src/instrument/event_device.rs";
/// Time enters through one file.
const ONLY_PLACE_OF_TIME: &str = "src/clock.rs";

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn rust_files(place: &Path) -> Vec<PathBuf> {
    if place.is_file() {
        return vec![place.to_owned()];
    }
    let mut files: Vec<PathBuf> = fs::read_dir(place)
        .unwrap()
        .flat_map(|entry| {
            let path = entry.unwrap().path();
            if path.is_dir() || path.extension().is_some_and(|ending| ending == "rs") {
                rust_files(&path)
            } else {
                Vec::new()
            }
        })
        .collect();
    files.sort();
    files
}

/// The lines that count: no comments, nothing behind the start of the unit tests.
fn code(file: &Path) -> String {
    let text = fs::read_to_string(file).unwrap();
    let text = text.split("#[cfg(test)]\nmod tests").next().unwrap().to_owned();
    text.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

#[test]
fn every_module_imports_only_what_stands_before_it_in_the_flow() {
    let mut broken = Vec::new();
    let mut looked_at = 0;
    for rule in RULES {
        for file in rust_files(&root().join("src").join(rule.module)) {
            looked_at += 1;
            let code = code(&file);
            let own = rule.module.trim_end_matches(".rs");
            for imported in code.split("crate::").skip(1) {
                let name: String = imported.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
                // A macro of the crate itself (`$crate::`) is not a module.
                if !name.is_empty() && name != own && !rule.may_import.contains(&name.as_str()) {
                    broken.push(format!("{} imports crate::{name}", file.display()));
                }
            }
            for word in rule.must_not_contain {
                if code.contains(word) {
                    broken.push(format!("{} contains {word}", file.display()));
                }
            }
        }
    }
    assert!(looked_at > 50, "only {looked_at} files were looked at");
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn serial_io_event_devices_and_time_have_one_door_each() {
    for file in rust_files(&root().join("src")) {
        let name = file.strip_prefix(root()).unwrap().display().to_string();
        let code = code(&file);
        if name != ONLY_PLACE_OF_SERIAL_IO {
            assert!(!code.contains("tokio_serial::"), "{name} opens serial ports");
        }
        if name != ONLY_PLACE_OF_EVENT_DEVICES {
            assert!(!code.contains("evdev::"), "{name} opens event devices");
        }
        if name != ONLY_PLACE_OF_TIME && !name.starts_with("src/output/web") && !name.starts_with("src/output/mqtt") {
            assert!(!code.contains("Instant::now()") && !code.contains("SystemTime::now()"), "{name} reads a clock");
        }
    }
}

#[test]
fn simulators_do_not_depend_on_the_daemon() {
    let manifest = fs::read_to_string(root().join("simulators/Cargo.toml")).unwrap();
    assert!(!manifest.contains("benchscribe"), "a shared bug would hide");
}

#[test]
fn every_module_opens_with_what_it_is_for() {
    for place in ["src", "simulators/src"] {
        for file in rust_files(&root().join(place)) {
            let text = fs::read_to_string(&file).unwrap();
            assert!(text.starts_with("//!"), "{} does not open with //!", file.display());
        }
    }
}

#[test]
fn no_file_needs_a_map() {
    for place in ["src", "simulators/src"] {
        for file in rust_files(&root().join(place)) {
            let lines = fs::read_to_string(&file).unwrap().lines().count();
            assert!(lines <= 500, "{} has {lines} lines: which two things does it do?", file.display());
        }
    }
}
