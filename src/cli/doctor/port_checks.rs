//! Ports: are they there, may this user open them, who else has them, do their names last, do their adapters delay or sleep.

use std::path::{Path, PathBuf};

use super::Finding;
use crate::cli::machine::Machine;
use crate::config::bench_file::BenchSettings;
use crate::instrument::port_name::{PortName, SerialPort, lasting_name, ports_alike};

/// Where rules for adapters are looked for, and ours.
const RULE_FOLDERS: [&str; 4] =
    ["/etc/udev/rules.d", "/usr/lib/udev/rules.d", "/lib/udev/rules.d", "/run/udev/rules.d"];
const OUR_RULES: &str = "70-benchscribe.rules";
/// The remedy that our rules are.
const INSTALL_RULES: &str = "copy config/udev/70-benchscribe.rules to /etc/udev/rules.d, run `sudo udevadm control --reload && sudo udevadm trigger`, plug it in again";
/// The longest time an adapter should keep bytes back, in milliseconds.
const LONGEST_LATENCY_MS: u32 = 1;

/// Whether our rules are installed.
pub(super) fn has_rules(machine: &Machine) -> bool {
    RULE_FOLDERS.iter().any(|folder| machine.at(folder).join(OUR_RULES).exists())
}

pub(super) fn look(machine: &Machine, settings: Option<&BenchSettings>) -> Vec<Finding> {
    let ports = machine.serial_ports();
    let links = machine.port_links();
    let mut findings = Vec::new();
    if ports.is_empty() {
        findings.push(Finding::note("ports", "this machine has no serial port; plug an adapter in"));
    }
    for port in &ports {
        let name = lasting_name(port, &ports, &links);
        let device = port.device.display();
        let known_as = match &name {
            PortName::Fixed(_) => "a port of the main board".to_owned(),
            name => {
                format!("{}{}", name.path().display(), name.remark().map(|it| format!(": {it}")).unwrap_or_default())
            }
        };
        findings.push(Finding::well("port", format!("{device} is {known_as}")));
        findings.extend(permission(machine, &port.device));
        findings.extend(holder(machine, &port.device));
        findings.extend(adapter(machine, port));
    }
    for instrument in settings.map(|settings| settings.instruments.as_slice()).unwrap_or_default() {
        findings.extend(configured(machine, &instrument.id, &instrument.port, &ports));
    }
    if ports.iter().any(|port| port.adapter.is_some()) && !has_rules(machine) {
        findings.push(Finding::note("rules", format!("the rules for adapters are not installed: {INSTALL_RULES}")));
    }
    findings
}

fn permission(machine: &Machine, file: &Path) -> Option<Finding> {
    let user = machine.user()?;
    let group = machine.may_use(file, &user).err()?;
    let device = file.display();
    let found = format!("{device} may not be opened by this user");
    Some(match group.as_str() {
        "root" => Finding::wrong("permission", found, INSTALL_RULES),
        group => Finding::wrong(
            "permission",
            found,
            format!(
                "run `sudo usermod -aG {group} $USER` and log in again, which puts the user into the group {group}"
            ),
        ),
    })
}

fn holder(machine: &Machine, device: &Path) -> Option<Finding> {
    let program = machine.holder(device)?;
    let found = format!("{} is open in {} (process {})", device.display(), program.name, program.pid);
    Some(match program.name.as_str() {
        "benchscribe" => Finding::well("in use", found),
        name => Finding::wrong("in use", found, format!("end {name}: two readers get half of the bytes each")),
    })
}

/// The adapter behind a port: what it keeps back, whether it is sent to sleep.
fn adapter(machine: &Machine, port: &SerialPort) -> Vec<Finding> {
    let Some((own, usb)) = machine.hardware(port) else { return Vec::new() };
    let number = |file: PathBuf| std::fs::read_to_string(file).ok();
    let device = port.device.display();
    let latency_ms = number(own.join("latency_timer")).and_then(|text| text.trim().parse::<u32>().ok());
    let latency = latency_ms.filter(|latency_ms| *latency_ms > LONGEST_LATENCY_MS).map(|latency_ms| {
        Finding::wrong(
            "latency",
            format!("the adapter of {device} keeps bytes back for {latency_ms} ms"),
            INSTALL_RULES,
        )
    });
    let control = usb.and_then(|usb| number(usb.join("power/control")));
    let sleep = control.filter(|control| control.trim() == "auto").map(|_| {
        Finding::wrong(
            "sleep",
            format!("the adapter of {device} may be sent to sleep (power/control is auto)"),
            INSTALL_RULES,
        )
    });
    latency.into_iter().chain(sleep).collect()
}

/// A port of the configuration.
fn configured(machine: &Machine, id: &str, path: &Path, ports: &[SerialPort]) -> Option<Finding> {
    let shown = path.display();
    let Some(device) = machine.device_of(path) else {
        return Some(Finding::wrong(
            "instrument",
            format!("{id}: port {shown} is not there"),
            format!("plug it in, or let `benchscribe identify --claim {id} --config FILE` find it"),
        ));
    };
    let Some(port) = ports.iter().find(|port| port.device == device) else {
        // A pseudo-terminal, or an event device.
        return permission(machine, &device);
    };
    let alike = ports_alike(port, ports);
    if alike.len() > 1 && path.parent().is_some_and(|folder| folder.ends_with("by-id")) {
        let alike: Vec<String> = alike.iter().map(|other| other.device.display().to_string()).collect();
        return Some(Finding::wrong(
            "instrument",
            format!(
                "{id}: the name {shown} fits {} alike, and leads to whichever was plugged in last",
                alike.join(" and ")
            ),
            format!("`benchscribe identify --claim {id} --config FILE` writes the name of the socket"),
        ));
    }
    if path.starts_with("/dev/serial") {
        return Some(Finding::well("instrument", format!("{id}: {shown} is {}", device.display())));
    }
    let may_change = path == device && port.adapter.is_some();
    may_change.then(|| {
        Finding::wrong(
            "instrument",
            format!("{id}: {shown} may be another port tomorrow"),
            format!("`benchscribe identify --claim {id} --config FILE` writes a name that stays"),
        )
    })
}
