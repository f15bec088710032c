//! The serial ports of this machine, found in `/sys` and `/dev/serial/by-id`. A port named by its id keeps its name
//! when it is plugged in elsewhere.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// A serial port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct SerialPort {
    /// `/dev/ttyUSB0` and the like.
    pub(crate) device: PathBuf,
    /// The name to put into a setup: by id where there is one.
    pub(crate) stable: Option<PathBuf>,
    /// Maker and product of the USB adapter, where there is one.
    pub(crate) what: String,
}

/// Finds the ports.
pub(crate) fn find() -> Vec<SerialPort> {
    find_under(Path::new("/sys/class/tty"), Path::new("/dev"))
}

fn find_under(sys: &Path, dev: &Path) -> Vec<SerialPort> {
    let by_id = by_id(&dev.join("serial/by-id"));
    let Ok(entries) = fs::read_dir(sys) else { return Vec::new() };
    let mut ports: Vec<SerialPort> = entries
        .flatten()
        .filter_map(|entry| {
            let name = entry.file_name();
            let hardware = fs::canonicalize(entry.path().join("device")).ok()?;
            // Boards list serial ports that are not there: the platform's placeholder driver gives them away.
            let driver = fs::canonicalize(hardware.join("driver")).ok()?;
            if driver.ends_with("serial8250") || driver.ends_with("port") && is_unknown_uart(&entry.path()) {
                return None;
            }
            let device = dev.join(&name);
            let stable = by_id.get(&device).cloned();
            Some(SerialPort { device, stable, what: usb(&hardware) })
        })
        .collect();
    ports.sort_by(|a, b| a.device.cmp(&b.device));
    ports
}

/// Type 0 in `/sys` is a port without a chip behind it.
fn is_unknown_uart(entry: &Path) -> bool {
    fs::read_to_string(entry.join("type")).is_ok_and(|kind| kind.trim() == "0")
}

fn by_id(folder: &Path) -> BTreeMap<PathBuf, PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return BTreeMap::new() };
    entries.flatten().filter_map(|entry| Some((fs::canonicalize(entry.path()).ok()?, entry.path()))).collect()
}

/// Looks upwards from the device for the USB adapter it belongs to.
fn usb(hardware: &Path) -> String {
    let read = |folder: &Path, name: &str| {
        fs::read_to_string(folder.join(name)).ok().map(|text| text.trim().to_owned())
    };
    for folder in hardware.ancestors().take(5) {
        if let (Some(vendor), Some(product)) = (read(folder, "idVendor"), read(folder, "idProduct")) {
            let names: Vec<String> =
                ["manufacturer", "product"].iter().filter_map(|name| read(folder, name)).collect();
            return format!("USB {vendor}:{product} {}", names.join(" ")).trim_end().to_owned();
        }
    }
    String::new()
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::symlink;

    use super::*;

    #[test]
    fn finds_a_usb_port_with_its_stable_name_and_leaves_virtual_terminals_out() {
        let root = tempfile::tempdir().unwrap();
        let root = fs::canonicalize(root.path()).unwrap();
        let (sys, dev, usb) = (root.join("class"), root.join("dev"), root.join("usb1/1-1"));
        let hardware = usb.join("1-1:1.0/ttyUSB0");
        fs::create_dir_all(sys.join("ttyUSB0")).unwrap();
        fs::create_dir_all(sys.join("tty1")).unwrap();
        fs::create_dir_all(&hardware).unwrap();
        fs::create_dir_all(root.join("drivers/ftdi")).unwrap();
        fs::create_dir_all(dev.join("serial/by-id")).unwrap();
        fs::write(dev.join("ttyUSB0"), "").unwrap();
        symlink(&hardware, sys.join("ttyUSB0/device")).unwrap();
        symlink(root.join("drivers/ftdi"), hardware.join("driver")).unwrap();
        symlink("../../ttyUSB0", dev.join("serial/by-id/usb-Adapter-if00")).unwrap();
        fs::write(usb.join("idVendor"), "1209\n").unwrap();
        fs::write(usb.join("idProduct"), "0001\n").unwrap();
        fs::write(usb.join("product"), "Adapter\n").unwrap();
        let found = find_under(&sys, &dev);
        assert_eq!(
            found,
            [SerialPort {
                device: dev.join("ttyUSB0"),
                stable: Some(dev.join("serial/by-id/usb-Adapter-if00")),
                what: "USB 1209:0001 Adapter".into(),
            }]
        );
    }
}
