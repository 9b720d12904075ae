//! Which name of a port to write into a configuration: one that still means the same port tomorrow.
//!
//! In: the ports there are, and the links that point at them. Out: a name, and why it is that one. Absent: files; who
//! reads the folders hands them over.
//!
//! `/dev/ttyUSB0` is a matter of the order of plugging in. `/dev/serial/by-id` follows the adapter wherever it is plugged in,
//! but many adapters carry no serial number of their own: two of a kind then share one name, and it leads to whichever was
//! plugged in last. `/dev/serial/by-path` names the socket, and is right as long as nobody swaps plugs.

use std::path::{Path, PathBuf};

/// Who a USB adapter says it is. Two that say the same cannot be told apart by name.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct AdapterIdentity {
    /// Number of its vendor, in hexadecimal.
    pub vendor: String,
    /// Number of the product, in hexadecimal.
    pub product: String,
    /// Its own serial number, empty when it has none.
    pub serial: String,
    /// Which of the adapter's ports, empty when it has one.
    pub interface: String,
}

/// A serial port of this machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SerialPort {
    /// The device, such as `/dev/ttyUSB0`.
    pub device: PathBuf,
    /// The adapter, when it is a USB one.
    pub adapter: Option<AdapterIdentity>,
    /// The socket, as the kernel counts them: `1-1.2` is bus 1, socket 1, and socket 2 of the hub there.
    pub socket: Option<String>,
}

/// A link to a device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortLink {
    /// The link, such as `/dev/serial/by-path/...`.
    pub link: PathBuf,
    /// The device it leads to.
    pub device: PathBuf,
}

/// The name to use for a port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PortName {
    /// Follows the adapter.
    Adapter(PathBuf),
    /// Stays with the socket, because the adapter has no name or another one says that it is the same.
    Socket {
        /// The name.
        path: PathBuf,
        /// Which socket, in words.
        socket: String,
        /// The devices that cannot be told apart by their adapters, this one among them.
        alike: Vec<PathBuf>,
    },
    /// The device itself, a port of the main board: its number stays.
    Fixed(PathBuf),
    /// The device itself: there is no better name.
    Device(PathBuf),
}

impl PortName {
    /// The path to write down.
    #[must_use]
    pub fn path(&self) -> &Path {
        match self {
            Self::Adapter(path) | Self::Socket { path, .. } | Self::Fixed(path) | Self::Device(path) => path,
        }
    }

    /// What a person must know about this name, if anything.
    #[must_use]
    pub fn remark(&self) -> Option<String> {
        match self {
            Self::Adapter(_) | Self::Fixed(_) => None,
            Self::Socket { socket, alike, .. } if alike.len() < 2 => {
                Some(format!("the adapter has no name of its own, so the name is that of the socket ({socket})"))
            }
            Self::Socket { socket, alike, .. } => {
                let alike: Vec<String> = alike.iter().map(|device| device.display().to_string()).collect();
                Some(format!(
                    "the adapters of {} cannot be told apart, so the name is that of the socket ({socket}): always plug \
                     this instrument in there",
                    alike.join(" and ")
                ))
            }
            Self::Device(_) => {
                Some("there is no lasting name for this port: it may change when it is plugged in".to_owned())
            }
        }
    }
}

/// The best name of a port, given all ports and all links of this machine.
#[must_use]
pub fn lasting_name(port: &SerialPort, ports: &[SerialPort], links: &[PortLink]) -> PortName {
    let link_in = |folder: &str| {
        let leads_here = |link: &&PortLink| {
            link.device == port.device && link.link.parent().is_some_and(|parent| parent.ends_with(folder))
        };
        // Of several links the first in alphabetical order: the same one each time.
        links.iter().filter(leads_here).map(|link| link.link.clone()).min()
    };
    let alike: Vec<PathBuf> = ports_alike(port, ports).iter().map(|other| other.device.clone()).collect();
    if alike.len() < 2
        && let Some(path) = link_in("by-id")
    {
        return PortName::Adapter(path);
    }
    match link_in("by-path") {
        Some(path) => {
            let socket = port.socket.as_deref().map_or_else(|| "of that name".to_owned(), socket_in_words);
            PortName::Socket { path, socket, alike }
        }
        None if port.adapter.is_none() => PortName::Fixed(port.device.clone()),
        None => PortName::Device(port.device.clone()),
    }
}

/// The ports whose adapters say the same as this one's, itself among them.
#[must_use]
pub fn ports_alike<'a>(port: &SerialPort, ports: &'a [SerialPort]) -> Vec<&'a SerialPort> {
    ports.iter().filter(|other| other.adapter.is_some() && other.adapter == port.adapter).collect()
}

/// `1-1.2` in words. The form is that of the kernel's USB documentation: bus, hyphen, sockets from the root, dots between.
#[must_use]
pub fn socket_in_words(socket: &str) -> String {
    let Some((bus, sockets)) = socket.split_once('-') else { return socket.to_owned() };
    let mut words = format!("USB bus {bus}");
    for (depth, number) in sockets.split('.').enumerate() {
        words.push_str(&if depth == 0 {
            format!(", socket {number}")
        } else {
            format!(", then socket {number} of the hub there")
        });
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn port(device: &str, serial: &str, socket: &str) -> SerialPort {
        let adapter = AdapterIdentity {
            vendor: "aaaa".into(),
            product: "0001".into(),
            serial: serial.into(),
            interface: "00".into(),
        };
        SerialPort { device: device.into(), adapter: Some(adapter), socket: Some(socket.into()) }
    }

    fn link(link: &str, device: &str) -> PortLink {
        PortLink { link: link.into(), device: device.into() }
    }

    #[test]
    fn the_adapter_names_the_port_and_where_two_are_alike_the_socket() {
        let links = [
            link("/dev/serial/by-id/usb-adapter_A-if00", "/dev/ttyUSB0"),
            link("/dev/serial/by-path/pci-usb-0:1:1.0", "/dev/ttyUSB0"),
            link("/dev/serial/by-path/pci-usb-0:1.2:1.0", "/dev/ttyUSB1"),
            link("/dev/serial/by-id/usb-adapter-if00", "/dev/ttyUSB1"),
            link("/dev/serial/by-path/pci-usb-0:1.3:1.0", "/dev/ttyUSB2"),
        ];
        let ports =
            [port("/dev/ttyUSB0", "A", "1-1"), port("/dev/ttyUSB1", "", "1-1.2"), port("/dev/ttyUSB2", "", "1-1.3")];
        let names: Vec<PortName> = ports.iter().map(|one| lasting_name(one, &ports, &links)).collect();
        let paths: Vec<&str> = names.iter().map(|name| name.path().to_str().unwrap()).collect();
        assert_eq!(
            paths,
            [
                "/dev/serial/by-id/usb-adapter_A-if00",
                "/dev/serial/by-path/pci-usb-0:1.2:1.0",
                "/dev/serial/by-path/pci-usb-0:1.3:1.0"
            ]
        );
        assert_eq!(names.first().unwrap().remark(), None);
        let remark = names.get(1).unwrap().remark().unwrap();
        assert!(remark.contains("/dev/ttyUSB1 and /dev/ttyUSB2"), "{remark}");
        assert!(remark.contains("USB bus 1, socket 1, then socket 2 of the hub there"), "{remark}");
    }

    #[test]
    fn a_port_without_links_keeps_its_device() {
        let board = SerialPort { device: "/dev/ttyS0".into(), adapter: None, socket: None };
        let name = lasting_name(&board, std::slice::from_ref(&board), &[]);
        assert_eq!((name.remark(), name), (None, PortName::Fixed("/dev/ttyS0".into())));
        let adapter = port("/dev/ttyUSB0", "A", "1-1");
        let name = lasting_name(&adapter, std::slice::from_ref(&adapter), &[]);
        assert!(name.remark().is_some());
        assert_eq!(name, PortName::Device("/dev/ttyUSB0".into()));
    }
}
