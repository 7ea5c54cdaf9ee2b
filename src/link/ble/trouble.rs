//! What can be wrong between here and a scale in the air, in plain words, with what to try.

use btleplug::Error;

/// Why nothing is heard of the scale.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BleError {
    /// The way to the system's Bluetooth service is not there.
    #[error("the system's message bus is not there, and Bluetooth needs it")]
    NoBus,
    /// A call that takes milliseconds has not come back.
    #[error("the system's Bluetooth service does not answer")]
    Mute,
    /// Nobody on the bus is in charge of Bluetooth.
    #[error("the system's Bluetooth service is not running")]
    NoService,
    /// This user may not use Bluetooth.
    #[error("no permission to use Bluetooth")]
    Permission,
    /// No radio.
    #[error("no Bluetooth adapter found")]
    NoAdapter,
    /// The radio is switched off.
    #[error("the Bluetooth adapter is off")]
    Off,
    /// The radio is blocked by the system's settings, or by a switch on the computer.
    #[error("Bluetooth is blocked{}", if *.by_switch { " by a switch on this computer" } else { "" })]
    Blocked {
        /// No program can lift it.
        by_switch: bool,
    },
    /// The radio is on, and won't look for anything.
    #[error("the Bluetooth adapter won't search: {why}")]
    NoSearch {
        /// In the system's words.
        why: String,
    },
    /// Not in reach.
    #[error("{scale} is not in reach")]
    NotFound {
        /// As set.
        scale: String,
    },
    /// Which one is meant can't be told.
    #[error("more than one scale in reach is {scale}: {list}", list = list(alike))]
    Alike {
        /// As set.
        scale: String,
        /// Those in reach.
        alike: Vec<TwoAlike>,
    },
    /// The connection came to nothing.
    #[error("{scale} can't be connected: {why}")]
    Refused {
        /// As set.
        scale: String,
        /// In the system's words.
        why: String,
    },
    /// It gives its values only to those it knows.
    #[error("{scale} wants to be paired first")]
    Pairing {
        /// As set.
        scale: String,
    },
    /// In reach, but it does not answer.
    #[error("{scale} does not answer")]
    Hangs {
        /// As set.
        scale: String,
    },
    /// Nothing on it sends values, or not what is set.
    #[error("{scale} has nothing to listen to as set; what it has: {offers}")]
    NothingToHear {
        /// As set.
        scale: String,
        /// Services with their characteristics.
        offers: String,
    },
    /// More than one characteristic sends values.
    #[error("{scale} sends several kinds of values: {offers}")]
    SeveralToHear {
        /// As set.
        scale: String,
        /// Services with their characteristics.
        offers: String,
    },
    /// It won't send what it offers.
    #[error("{scale} is connected but refuses to send its values: {why}")]
    SendsNothing {
        /// As set.
        scale: String,
        /// In the system's words.
        why: String,
    },
    /// The connection broke off before it was known what the scale has.
    #[error("{scale} was lost while its services were being loaded")]
    CutWhileLoading {
        /// As set.
        scale: String,
    },
    /// The connection broke off.
    #[error("{scale} was disconnected")]
    Dropped {
        /// As set.
        scale: String,
    },
    /// The system has forgotten it.
    #[error("{scale} is gone")]
    Gone {
        /// As set.
        scale: String,
    },
    /// Connected for long, and nothing came.
    #[error("{scale} is connected but sends nothing")]
    Silent {
        /// As set.
        scale: String,
    },
    /// More values than can be carried on.
    #[error("{scale} sends more than can be read")]
    TooMuch {
        /// As set.
        scale: String,
    },
}

/// One of several that are alike.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TwoAlike {
    /// Address.
    pub address: String,
    /// Signal, where it is known.
    pub signal_dbm: Option<i16>,
}

fn list(alike: &[TwoAlike]) -> String {
    let one = |a: &TwoAlike| match a.signal_dbm {
        Some(dbm) => format!("{} ({dbm} dBm)", a.address),
        None => a.address.clone(),
    };
    alike.iter().map(one).collect::<Vec<_>>().join(", ")
}

impl BleError {
    /// What to try.
    pub fn try_this(&self) -> &'static str {
        match self {
            Self::NoBus => "start it (Debian's package dbus), or use a serial scale",
            Self::Mute => {
                "it is tried again by itself; if this stays, restart it (`systemctl restart bluetooth`)"
            }
            Self::NoService => {
                "start it (`systemctl start bluetooth`); if it is not there install it (Debian's package bluez)"
            }
            Self::Permission => "add yourself to the group bluetooth and log in again",
            Self::NoAdapter => "plug one in: it is looked for all the time",
            Self::Off => "switch Bluetooth on in the system's settings: tarebell leaves the switch to you",
            Self::Blocked { by_switch: false } => {
                "end flight mode, or `rfkill unblock bluetooth`: tarebell leaves the switch to you"
            }
            Self::Blocked { by_switch: true } => "turn the switch, or use another adapter",
            Self::NoSearch { .. } => {
                "it is tried again by itself; if this stays, end other programs that search, or switch Bluetooth off and on"
            }
            Self::NotFound { .. } => {
                "switch the scale on, bring it near, close what else holds it (a telephone); `tarebell scales` lists what is in reach"
            }
            Self::Alike { .. } => "set [scale] address to the one on the table",
            Self::Refused { .. } | Self::Hangs { .. } => {
                "switch the scale off and on, bring it near, close what else holds it (a telephone)"
            }
            Self::Pairing { .. } => "pair it in the system's Bluetooth settings",
            Self::NothingToHear { .. } => "check service and characteristic in the settings",
            Self::SeveralToHear { .. } => "set [scale] characteristic to the one with the weight",
            Self::SendsNothing { .. } => {
                "switch the scale off and on; if it stays, pair it in the system's Bluetooth settings, or set another characteristic"
            }
            Self::CutWhileLoading { .. } | Self::Dropped { .. } | Self::Gone { .. } => {
                "it is looked for all the time: bring it near, look at its battery"
            }
            Self::Silent { .. } => {
                "wake it, look at its mode and battery; check service and characteristic in the settings"
            }
            Self::TooMuch { .. } => "check service and characteristic in the settings",
        }
    }

    /// The scale, where a connection that broke off meanwhile would look like this.
    pub(super) fn may_be_a_cut(&self) -> Option<&str> {
        match self {
            Self::Refused { scale, .. }
            | Self::Hangs { scale }
            | Self::NothingToHear { scale, .. }
            | Self::SeveralToHear { scale, .. }
            | Self::SendsNothing { scale, .. }
            | Self::Dropped { scale }
            | Self::CutWhileLoading { scale }
            | Self::Gone { scale } => Some(scale),
            Self::NoBus
            | Self::Mute
            | Self::NoService
            | Self::Permission
            | Self::NoAdapter
            | Self::Off
            | Self::Blocked { .. }
            | Self::NoSearch { .. }
            | Self::NotFound { .. }
            | Self::Alike { .. }
            | Self::Pairing { .. }
            | Self::Silent { .. }
            | Self::TooMuch { .. } => None,
        }
    }

    /// The system may still hold the connection, so it is to be let go before the next try.
    pub(super) fn may_hold(&self) -> bool {
        match self {
            Self::Refused { .. }
            | Self::Hangs { .. }
            | Self::Pairing { .. }
            | Self::NothingToHear { .. }
            | Self::SeveralToHear { .. }
            | Self::SendsNothing { .. }
            | Self::CutWhileLoading { .. }
            | Self::Silent { .. }
            | Self::TooMuch { .. } => true,
            Self::NoBus
            | Self::Mute
            | Self::NoService
            | Self::Permission
            | Self::NoAdapter
            | Self::Off
            | Self::Blocked { .. }
            | Self::NoSearch { .. }
            | Self::NotFound { .. }
            | Self::Alike { .. }
            | Self::Dropped { .. }
            | Self::Gone { .. } => false,
        }
    }
}

/// Names of the bus's errors, as they stand in the library's debug text (its types hide them), and
/// what they mean. From the bus's specification and the service's documentation, from memory.
const NAMED: [(&str, Named); 19] = [
    ("Error.AccessDenied", Named::Permission),
    ("Error.NotAuthorized", Named::Pairing),
    ("Error.NotPermitted", Named::Pairing),
    ("Error.Authentication", Named::Pairing),
    ("Error.ServiceUnknown", Named::NoService),
    ("Error.NameHasNoOwner", Named::NoService),
    ("Error.Spawn", Named::NoService),
    ("NoSuchUnit", Named::NoService),
    ("Error.FileNotFound", Named::NoBus),
    ("Error.NoServer", Named::NoBus),
    ("Error.BadAddress", Named::NoBus),
    ("Failed to connect to socket", Named::NoBus),
    ("Error.UnknownObject", Named::Gone),
    ("Error.UnknownMethod", Named::Gone),
    ("Error.DoesNotExist", Named::Gone),
    ("Error.NoReply", Named::Mute),
    ("Error.Disconnected", Named::Mute),
    ("Error.NotReady", Named::Off),
    ("rfkill", Named::Blocked),
];

#[derive(Clone, Copy)]
enum Named {
    Permission,
    Pairing,
    NoService,
    NoBus,
    Gone,
    Mute,
    Off,
    Blocked,
}

/// What an error of the library means for this scale.
pub(super) fn sort(scale: &str, error: &Error) -> BleError {
    let (scale, text) = (scale.to_owned(), format!("{error:?}"));
    let named = NAMED.iter().find(|(name, _)| text.contains(name)).map(|(_, named)| *named);
    match (error, named) {
        (Error::PermissionDenied, _) | (_, Some(Named::Permission)) => BleError::Permission,
        (Error::NoAdapterAvailable, _) => BleError::NoAdapter,
        (Error::NotConnected, _) => BleError::Dropped { scale },
        (Error::TimedOut(_), _) => BleError::Hangs { scale },
        (Error::DeviceNotFound, _) | (_, Some(Named::Gone)) => BleError::Gone { scale },
        (_, Some(Named::Pairing)) => BleError::Pairing { scale },
        (_, Some(Named::NoService)) => BleError::NoService,
        (_, Some(Named::NoBus)) => BleError::NoBus,
        (_, Some(Named::Mute)) => BleError::Mute,
        (_, Some(Named::Off)) => BleError::Off,
        (_, Some(Named::Blocked)) => BleError::Blocked { by_switch: false },
        // Its own debug text would bring a backtrace along where those are asked for.
        (_, None) => BleError::Refused { scale, why: error.to_string() },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of_the_bus(name: &str, words: &str) -> Error {
        // As the library shows an error of the bus.
        Error::Other(format!("DbusError(D-Bus error: {words} ({name}))").into())
    }

    #[test]
    fn each_error_of_the_bus_has_its_own_words() {
        // Names and texts as the bus and the service give them, the first and third seen, the rest from memory.
        for (name, text, wanted) in [
            (
                "org.freedesktop.DBus.Error.ServiceUnknown",
                "The name org.bluez was not provided",
                "not running",
            ),
            ("org.freedesktop.DBus.Error.AccessDenied", "Rejected send message", "no permission"),
            ("org.freedesktop.DBus.Error.UnknownObject", "Unknown object", "is gone"),
            ("org.freedesktop.DBus.Error.FileNotFound", "Failed to connect to socket /x", "bus is not there"),
            ("org.freedesktop.DBus.Error.NoReply", "Message recipient disconnected", "does not answer"),
            ("org.bluez.Error.NotReady", "Resource Not Ready", "is off"),
            ("org.bluez.Error.Failed", "Blocked through rfkill", "is blocked"),
            ("org.bluez.Error.NotAuthorized", "Not paired", "paired first"),
            ("org.bluez.Error.Failed", "a made-up reason", "made-up reason"),
        ] {
            let sorted = sort("'invented scale'", &of_the_bus(name, text));
            assert!(sorted.to_string().contains(wanted), "{name}: {sorted}");
            assert!(sorted.try_this().len() > 20, "{sorted:?}");
        }
        assert_eq!(sort("x", &Error::PermissionDenied), BleError::Permission);
        assert_eq!(sort("x", &Error::DeviceNotFound), BleError::Gone { scale: "x".into() });
    }
}
