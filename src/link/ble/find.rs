//! What is in reach, and which of it is meant.

use super::trouble::{BleError, TwoAlike, sort};
use super::way::{self, Way};
use super::{CALL, block};
use crate::settings::{By, number};
use btleplug::api::{BDAddr, Central as _, CentralState, Manager as _, Peripheral as _, ScanFilter};
use btleplug::platform::{Adapter, Peripheral};
use std::time::Duration;
use tokio::time::{Instant, sleep, timeout};
use uuid::Uuid;

/// The list of what is in reach is read this often during a search: the library tells no change of a name.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// A name or service is searched for this much longer, to see a second one: scales announce themselves
/// several times a second while they wait (common practice, no source).
const SECOND: Duration = Duration::from_secs(1);
/// Something in reach.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// Its address; where the system hides those, the id it gives instead.
    pub address: String,
    /// The name it sends.
    pub name: Option<String>,
    /// Its signal, while it sends one and its strength is known.
    pub signal_dbm: Option<i16>,
    /// It announces itself now, or is connected; else the system only remembers it.
    pub in_reach: bool,
    /// It sends no signal because it is connected.
    pub connected: bool,
    /// What it says it has.
    pub services: Vec<ServiceFound>,
}

/// A service something in reach says it has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ServiceFound {
    /// All of it.
    pub uuid: Uuid,
    /// Number, where it is one of the standard.
    pub number: Option<u16>,
    /// Name, where the number is known here.
    pub name: Option<&'static str>,
}

impl From<Uuid> for ServiceFound {
    fn from(uuid: Uuid) -> Self {
        let number = number(uuid);
        // Bluetooth Assigned Numbers, service UUIDs (from memory).
        let name = match number {
            Some(0x180a) => Some("device information"),
            Some(0x180f) => Some("battery"),
            Some(0x181b) => Some("body composition"),
            Some(0x181d) => Some("weight scale"),
            _ => None,
        };
        Self { uuid, number, name }
    }
}

/// Which of these is meant.
///
/// # Errors
/// None is, or more than one.
pub fn chosen(by: &By, found: &[Found]) -> Result<usize, BleError> {
    let meant = |f: &Found| match by {
        // The system may know it from before; connecting will show.
        By::Address(address) => f.address.eq_ignore_ascii_case(address),
        By::Name(name) => f.in_reach && f.name.as_deref() == Some(name),
        By::Service(service) => f.in_reach && f.services.iter().any(|s| s.uuid == *service),
    };
    let places: Vec<usize> = (0..found.len()).filter(|i| meant(&found[*i])).collect();
    match places[..] {
        [] => Err(BleError::NotFound { scale: by.to_string() }),
        [one] => Ok(one),
        _ => {
            let mut alike: Vec<TwoAlike> = places
                .into_iter()
                .map(|i| TwoAlike { address: found[i].address.clone(), signal_dbm: found[i].signal_dbm })
                .collect();
            alike.sort_by(|a, b| a.address.cmp(&b.address));
            Err(BleError::Alike { scale: by.to_string(), alike })
        }
    }
}

/// What is in reach after looking for this long; with `by` it ends as soon as that is found.
///
/// # Errors
/// No adapter, or one that can't look.
pub async fn look(by: Option<&By>, long: Duration) -> Result<Vec<Found>, BleError> {
    super::ease_known_panics();
    let way = way::open(&mut None).await?;
    let adapter = adapter(&way).await?;
    let mut seen = list(&adapter).await?;
    let found = |seen: &[Seen]| by.is_some_and(|by| chosen(by, &plain(seen)).is_ok());
    if !found(&seen) {
        start(&adapter).await?;
        let end = Instant::now() + long;
        let mut looked = Ok(seen);
        while let Ok(seen) = &looked
            && Instant::now() < end
            && !found(seen)
        {
            sleep(LOOK_EVERY).await;
            looked = list(&adapter).await;
        }
        // The search ends also where looking failed.
        stop(&adapter).await;
        seen = looked?;
    }
    let mut found = plain(&seen);
    found.retain(|f| f.in_reach);
    found.sort_by(|a, b| b.signal_dbm.cmp(&a.signal_dbm).then(a.address.cmp(&b.address)));
    Ok(found)
}

/// A strength as it may be shown: -127 to 20 dBm; 127 says that it is not known, and all else can't be
/// (Bluetooth Core Specification, volume 4, part E, 7.7.65, from memory).
pub(super) fn dbm(told: i16) -> Option<i16> {
    (-127..=20).contains(&told).then_some(told)
}

/// Something in reach, and the way to it.
pub(super) type Seen = (Found, Peripheral);

pub(super) fn plain(seen: &[Seen]) -> Vec<Found> {
    seen.iter().map(|(found, _)| found.clone()).collect()
}

/// A call that stays within this computer, or the trouble it ends in.
pub(super) async fn call<T>(
    scale: &str,
    made: impl Future<Output = Result<T, btleplug::Error>>,
) -> Result<T, BleError> {
    match timeout(CALL, made).await {
        Ok(done) => done.map_err(|error| sort(scale, &error)),
        Err(_) => Err(BleError::Mute),
    }
}

/// The first adapter that is on.
pub(super) async fn adapter(way: &Way) -> Result<Adapter, BleError> {
    let adapters = call("Bluetooth", way.manager.adapters()).await?;
    if adapters.is_empty() {
        return Err(BleError::NoAdapter);
    }
    for adapter in adapters {
        if is_on(&adapter).await? {
            return Ok(adapter);
        }
    }
    Err(block::off())
}

pub(super) async fn is_on(adapter: &Adapter) -> Result<bool, BleError> {
    let state = call("Bluetooth", adapter.adapter_state()).await?;
    // On some systems a state is not known at first: then the search will tell.
    Ok(state != CentralState::PoweredOff)
}

/// All that the adapter knows now.
pub(super) async fn list(adapter: &Adapter) -> Result<Vec<Seen>, BleError> {
    let mut seen = Vec::new();
    for device in call("Bluetooth", adapter.peripherals()).await? {
        let known = match call("Bluetooth", device.properties()).await {
            Ok(Some(known)) => known,
            // Each of the others would be waited for as long.
            Err(BleError::Mute) => return Err(BleError::Mute),
            // What was forgotten since is left out.
            Ok(None) | Err(_) => continue,
        };
        let address = known.address;
        let address =
            if address == BDAddr::default() { device.id().to_string() } else { address.to_string() };
        let connected =
            known.rssi.is_none() && call("Bluetooth", device.is_connected()).await.unwrap_or(false);
        let found = Found {
            address: address.to_uppercase(),
            name: known.advertisement_name.or(known.local_name).and_then(|name| legible(&name)),
            signal_dbm: known.rssi.and_then(dbm),
            in_reach: known.rssi.is_some() || connected,
            connected,
            services: known.services.into_iter().map(ServiceFound::from).collect(),
        };
        seen.push((found, device));
    }
    Ok(seen)
}

async fn start(adapter: &Adapter) -> Result<(), BleError> {
    // The library switches an adapter on that is off, and that is not ours to do.
    if !is_on(adapter).await? {
        return Err(block::off());
    }
    let started = call("Bluetooth", adapter.start_scan(ScanFilter::default())).await;
    let Err(BleError::Refused { why, .. }) = started else { return started };
    // A search of ours that was cut off goes on.
    if why.to_lowercase().contains("in progress") {
        return Ok(());
    }
    if is_on(adapter).await? { Err(BleError::NoSearch { why }) } else { Err(block::off()) }
}

async fn stop(adapter: &Adapter) {
    // An adapter that is gone searches no more.
    let _ = call("Bluetooth", adapter.stop_scan()).await;
}

/// Searches for this long at most.
pub(super) async fn search(adapter: &Adapter, by: &By, long: Duration) -> Result<Seen, BleError> {
    if let By::Address(_) = by {
        let mut seen = list(adapter).await?;
        if let Ok(place) = chosen(by, &plain(&seen)) {
            return Ok(seen.swap_remove(place));
        }
    }
    start(adapter).await?;
    let found = find(adapter, by, long).await;
    stop(adapter).await;
    found
}

async fn find(adapter: &Adapter, by: &By, long: Duration) -> Result<Seen, BleError> {
    let end = Instant::now() + long;
    let mut since = None;
    loop {
        sleep(LOOK_EVERY).await;
        let mut seen = list(adapter).await?;
        let choice = chosen(by, &plain(&seen));
        let now = Instant::now();
        let first = *since.get_or_insert(now);
        match choice {
            Ok(place) if matches!(by, By::Address(_)) || now - first >= SECOND => {
                return Ok(seen.swap_remove(place));
            }
            Err(error) if now >= end => {
                return if is_on(adapter).await? { Err(error) } else { Err(block::off()) };
            }
            Err(BleError::NotFound { .. }) => since = None,
            Ok(_) | Err(_) => {}
        }
    }
}

/// A name as it may be shown and compared: without outer spaces, and without characters that steer a
/// terminal or turn the direction of writing; none if nothing is left.
fn legible(name: &str) -> Option<String> {
    let steers = |c: &char| {
        c.is_control()
            || matches!(c, '\u{200e}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    let kept: String = name.chars().filter(|c| !steers(c)).collect();
    let kept = kept.trim();
    (!kept.is_empty()).then(|| kept.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::numbered;

    fn found(n: u8, name: &str, signal_dbm: Option<i16>) -> Found {
        Found {
            address: format!("02:00:00:00:00:{n:02X}"),
            name: Some(name.to_owned()),
            signal_dbm,
            in_reach: signal_dbm.is_some(),
            connected: false,
            services: vec![ServiceFound::from(numbered(0x181d))],
        }
    }

    #[test]
    fn a_name_that_would_steer_a_terminal_is_shown_plain_and_one_of_spaces_is_none() {
        assert_eq!(legible(" bench\u{1b}[31m scale\n\u{202e} ").as_deref(), Some("bench[31m scale"));
        assert_eq!(legible(" \t\n"), None);
    }

    #[test]
    fn two_of_one_name_are_refused_with_both_addresses_and_one_that_is_not_heard_does_not_count() {
        let by = By::Name("invented".to_owned());
        let mut seen = vec![
            found(1, "other", Some(-40)),
            found(2, "invented", Some(-50)),
            found(3, "invented", Some(-60)),
        ];
        let said = chosen(&by, &seen).unwrap_err().to_string();
        assert!(said.contains("02:00:00:00:00:02 (-50 dBm), 02:00:00:00:00:03 (-60 dBm)"), "{said}");
        assert!(!said.contains("00:01"), "{said}");
        seen[2].in_reach = false;
        assert_eq!(chosen(&by, &seen), Ok(1));
        seen[2].in_reach = true;
        seen[2].signal_dbm = None;
        assert!(matches!(chosen(&by, &seen), Err(BleError::Alike { .. })));
    }

    #[test]
    fn a_strength_that_is_not_known_or_can_not_be_is_no_number() {
        for (told, shown) in [(-127, Some(-127)), (-55, Some(-55)), (20, Some(20))] {
            assert_eq!(dbm(told), shown);
        }
        for odd in [127, 32767, -32768, -128, 21] {
            assert_eq!(dbm(odd), None, "{odd}");
        }
    }

    #[test]
    fn an_address_is_one_whatever_its_case_and_a_service_is_looked_for_in_what_is_heard() {
        let mut seen = vec![found(0x0a, "invented", None), found(2, "invented", Some(-50))];
        assert_eq!(chosen(&By::Address("02:00:00:00:00:0a".into()), &seen), Ok(0));
        assert_eq!(chosen(&By::Service(numbered(0x181d)), &seen), Ok(1));
        seen[1].services.clear();
        assert!(matches!(
            chosen(&By::Service(numbered(0x181d)), &seen),
            Err(BleError::NotFound { scale }) if scale.contains("181d")
        ));
    }
}
