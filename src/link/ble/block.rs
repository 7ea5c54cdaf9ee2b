//! Whether the radio is blocked: the system's list of radio switches, where there is one.

use super::trouble::BleError;
use std::path::Path;

/// Where Linux lists its radio switches (kernel documentation, sysfs-class-rfkill, from memory).
const SWITCHES: &str = "/sys/class/rfkill";

/// Why an adapter is off.
pub(super) fn off() -> BleError {
    why(Path::new(SWITCHES))
}

fn why(switches: &Path) -> BleError {
    let Ok(folder) = std::fs::read_dir(switches) else { return BleError::Off };
    let read = |at: &Path, name: &str| std::fs::read_to_string(at.join(name)).unwrap_or_default();
    let of_bluetooth = folder.flatten().map(|e| e.path()).filter(|at| read(at, "type").trim() == "bluetooth");
    let (mut hard, mut soft) = (false, false);
    for at in of_bluetooth {
        hard |= read(&at, "hard").trim() == "1";
        soft |= read(&at, "soft").trim() == "1";
    }
    if hard || soft { BleError::Blocked { by_switch: hard } } else { BleError::Off }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(switches: &[(&str, &str, &str)]) -> BleError {
        let folder = tempfile::tempdir().unwrap();
        for (i, (kind, soft, hard)) in switches.iter().enumerate() {
            let at = folder.path().join(format!("rfkill{i}"));
            std::fs::create_dir(&at).unwrap();
            for (name, value) in [("type", kind), ("soft", soft), ("hard", hard)] {
                std::fs::write(at.join(name), format!("{value}\n")).unwrap();
            }
        }
        why(folder.path())
    }

    #[test]
    fn only_a_blocked_switch_of_bluetooth_is_a_block() {
        assert_eq!(with(&[]), BleError::Off);
        assert_eq!(with(&[("wlan", "1", "1"), ("bluetooth", "0", "0")]), BleError::Off);
        assert_eq!(with(&[("bluetooth", "1", "0")]), BleError::Blocked { by_switch: false });
        assert_eq!(with(&[("bluetooth", "0", "1")]), BleError::Blocked { by_switch: true });
        assert_eq!(why(Path::new("/no/such/folder")), BleError::Off);
    }
}
