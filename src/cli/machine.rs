//! What this machine says about its ports, programs and user: files below `/sys`, `/proc`, `/dev` and `/etc`.
//!
//! Everything is read below one root folder, `/` as a rule, so that tests can build a machine of files.

use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Component, Path, PathBuf};

use crate::instrument::port_name::{AdapterIdentity, PortLink, PortName, SerialPort, lasting_name};

/// A machine below a root folder.
#[derive(Debug, Clone)]
pub(crate) struct Machine {
    root: PathBuf,
}

/// A running program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Program {
    pub(crate) pid: u32,
    pub(crate) name: String,
}

/// Who this program runs for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct User {
    pub(crate) uid: u32,
    pub(crate) groups: Vec<u32>,
}

impl Machine {
    pub(crate) fn new(root: impl Into<PathBuf>) -> Self {
        Self { root: root.into() }
    }

    /// Where an absolute path of the machine really is.
    pub(crate) fn at(&self, path: impl AsRef<Path>) -> PathBuf {
        let inside = path.as_ref().components().filter(|part| matches!(part, Component::Normal(_)));
        inside.fold(self.root.clone(), |place, part| place.join(part))
    }

    /// The text of a small file, without the space around it.
    pub(crate) fn text(&self, path: impl AsRef<Path>) -> Option<String> {
        fs::read_to_string(self.at(path)).ok().map(|text| text.trim().to_owned())
    }

    /// The serial ports: terminals with hardware behind them.
    pub(crate) fn serial_ports(&self) -> Vec<SerialPort> {
        let mut ports: Vec<SerialPort> =
            names_in(&self.at("/sys/class/tty")).iter().filter_map(|name| self.serial_port(name)).collect();
        ports.sort_by(|one, other| one.device.cmp(&other.device));
        ports
    }

    fn serial_port(&self, name: &str) -> Option<SerialPort> {
        let folder = self.at("/sys/class/tty").join(name);
        let hardware = fs::canonicalize(folder.join("device")).ok()?;
        let device = Path::new("/dev").join(name);
        // A main board announces ports that it does not have: of type 0, unknown.
        let is_there = self.at(&device).exists() && read(&folder.join("type")).as_deref() != Some("0");
        let usb = usb_device(&hardware);
        let interface = [hardware.join("../bInterfaceNumber"), hardware.join("bInterfaceNumber")]
            .iter()
            .find_map(|file| read(file));
        let number = read(&hardware.join("port_number"));
        let adapter = usb.as_deref().and_then(|usb| {
            Some(AdapterIdentity {
                vendor: read(&usb.join("idVendor"))?,
                product: read(&usb.join("idProduct"))?,
                serial: read(&usb.join("serial")).unwrap_or_default(),
                interface: format!(
                    "{}{}",
                    interface.unwrap_or_default(),
                    number.map(|n| format!("-{n}")).unwrap_or_default()
                ),
            })
        });
        let socket = usb.and_then(|usb| Some(usb.file_name()?.to_string_lossy().into_owned()));
        is_there.then_some(SerialPort { device, adapter, socket })
    }

    /// The files in `/sys` of a port: its own, and its USB device.
    pub(crate) fn hardware(&self, port: &SerialPort) -> Option<(PathBuf, Option<PathBuf>)> {
        let name = port.device.file_name()?;
        let own = fs::canonicalize(self.at("/sys/class/tty").join(name).join("device")).ok()?;
        let usb = usb_device(&own);
        Some((own, usb))
    }

    /// The lasting names of ports.
    pub(crate) fn port_links(&self) -> Vec<PortLink> {
        let folders = ["/dev/serial/by-id", "/dev/serial/by-path"];
        let links = folders.iter().flat_map(|folder| {
            names_in(&self.at(folder)).into_iter().filter_map(move |name| {
                let link = Path::new(folder).join(name);
                let leads_to = fs::read_link(self.at(&link)).ok()?;
                Some(PortLink { device: Path::new("/dev").join(leads_to.file_name()?), link })
            })
        });
        links.collect()
    }

    /// The name to write down for a port that was given as `path`, and what to know about it. A name of somebody's own making
    /// stays.
    pub(crate) fn name_of(&self, path: &Path) -> (PathBuf, Option<String>) {
        let own = || std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        let Some(device) = self.device_of(path) else { return (own(), None) };
        let ports = self.serial_ports();
        let Some(port) = ports.iter().find(|port| port.device == device) else { return (own(), None) };
        let name = lasting_name(port, &ports, &self.port_links());
        let is_own_link = own() != device && !own().starts_with("/dev/serial");
        match name {
            _ if is_own_link => (own(), None),
            name @ PortName::Adapter(_) if own().starts_with("/dev/serial") && own() != name.path() => (own(), None),
            name => (name.path().to_owned(), name.remark()),
        }
    }

    /// The device behind a name of a port.
    pub(crate) fn device_of(&self, path: &Path) -> Option<PathBuf> {
        let found = fs::canonicalize(self.at(std::path::absolute(path).ok()?)).ok()?;
        let root = fs::canonicalize(&self.root).ok()?;
        Some(Path::new("/").join(found.strip_prefix(root).ok()?))
    }

    /// All programs that run.
    pub(crate) fn programs(&self) -> Vec<Program> {
        let pids = names_in(&self.at("/proc")).into_iter().filter_map(|name| name.parse().ok());
        let program = |pid: u32| Some(Program { pid, name: self.text(format!("/proc/{pid}/comm"))? });
        pids.filter_map(program).collect()
    }

    /// Who has a device open, as far as this user may see.
    pub(crate) fn holder(&self, device: &Path) -> Option<Program> {
        self.programs().into_iter().find(|program| {
            let files = self.at(format!("/proc/{}/fd", program.pid));
            let open = names_in(&files).into_iter().filter_map(|name| fs::read_link(files.join(name)).ok());
            program.pid != std::process::id() && open.into_iter().any(|file| file == device)
        })
    }

    /// Who this program runs for.
    pub(crate) fn user(&self) -> Option<User> {
        let status = self.text("/proc/self/status")?;
        let line = |key: &str| status.lines().find_map(|line| line.strip_prefix(key).map(str::to_owned));
        let numbers =
            |text: String| text.split_whitespace().filter_map(|number| number.parse().ok()).collect::<Vec<u32>>();
        // Real, effective, saved, file system: the effective one counts.
        let effective = |text: String| numbers(text).get(1).copied();
        let mut groups = line("Groups:").map(numbers).unwrap_or_default();
        groups.extend(line("Gid:").and_then(effective));
        Some(User { uid: line("Uid:").and_then(effective)?, groups })
    }

    /// The name of a group.
    pub(crate) fn group_name(&self, gid: u32) -> String {
        let groups = self.text("/etc/group").unwrap_or_default();
        let name = groups.lines().find_map(|line| {
            let mut fields = line.split(':');
            let (name, number) = (fields.next()?, fields.nth(1)?);
            (number.parse() == Ok(gid)).then(|| name.to_owned())
        });
        name.unwrap_or_else(|| gid.to_string())
    }

    /// Whether this user may read and write a file; else the group that may.
    pub(crate) fn may_use(&self, file: &Path, user: &User) -> Result<(), String> {
        let Ok(found) = fs::metadata(self.at(file)) else { return Ok(()) };
        let may = |bits: u32| found.mode() >> bits & 0o6 == 0o6;
        let is_allowed = user.uid == 0
            || found.uid() == user.uid && may(6)
            || user.groups.contains(&found.gid()) && may(3)
            || may(0);
        if is_allowed { Ok(()) } else { Err(self.group_name(found.gid())) }
    }
}

fn read(file: &Path) -> Option<String> {
    fs::read_to_string(file).ok().map(|text| text.trim().to_owned())
}

fn names_in(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// The USB device that a piece of hardware belongs to: the first folder upwards that has a vendor.
fn usb_device(hardware: &Path) -> Option<PathBuf> {
    hardware.ancestors().find(|folder| folder.join("idVendor").exists()).map(Path::to_owned)
}
