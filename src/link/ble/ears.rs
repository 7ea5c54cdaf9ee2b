//! Listening to a connected scale: what arrives is stamped and drained in tasks of its own.
//!
//! The library's streams have no bound, so nothing here ever lets them fill: values go into a bounded
//! channel, and when that is full the connection is given up rather than part of a line lost.

use super::find::call;
use super::trouble::{BleError, sort};
use crate::link::Facts;
use crate::settings::{Ble, numbered, short};
use crate::time::Instant;
use btleplug::api::{
    Central as _, CentralEvent, CentralState, CharPropFlags, Characteristic, Peripheral as _,
    ValueNotification,
};
use btleplug::platform::{Adapter, Peripheral};
use futures_util::{Stream, StreamExt as _};
use std::pin::Pin;
use std::time::Duration;
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio::task::JoinSet;
use tokio::time::{sleep, timeout};

/// Values that may wait: a quarter of a second of a scale that sends a thousand a second.
const VALUES: usize = 256;
/// The services of a scale are asked for over the air: some hundred milliseconds as a rule, and this is the
/// longest wait (own choice).
const ANSWER: Duration = Duration::from_secs(5);
/// A connection is looked at this often, as the system does not tell when it forgets a scale or ends itself.
const PULSE: Duration = Duration::from_secs(1);
/// Signal every few pulses,
const SIGNAL_PULSES: u32 = 5;
/// battery once a minute: it lasts for weeks, and each question costs some of it (own choice).
const BATTERY_EVERY: Duration = Duration::from_secs(60);

/// Bluetooth Assigned Numbers: Battery Level, Service Changed (from memory).
const BATTERY_LEVEL: u16 = 0x2a19;
/// Weight Scale Feature (Bluetooth SIG, Weight Scale Service).
const WEIGHT_FEATURE: u16 = 0x2a9e;
const SERVICE_CHANGED: u16 = 0x2a05;

/// What is heard.
pub(super) enum Heard {
    /// A value of the scale.
    Value(Vec<u8>, Instant),
    /// Something of the link itself.
    Facts(Facts),
    /// The connection is no more.
    Lost(BleError),
}

/// The listening tasks; they end with this.
pub(super) struct Ears {
    pub(super) heard: Receiver<Heard>,
    _tasks: JoinSet<()>,
}

impl Ears {
    /// Finds what to listen to, and listens.
    pub(super) async fn open(
        cfg: &Ble,
        adapter: &Adapter,
        device: &Peripheral,
        now: impl Fn() -> Instant + Send + 'static,
    ) -> Result<Self, BleError> {
        let scale = cfg.by.to_string();
        answer(&scale, device.discover_services()).await?;
        let offered: Vec<Characteristic> = device.characteristics().into_iter().collect();
        let source = pick(cfg, &offered)?;
        let named = |number: u16| offered.iter().find(|c| c.uuid == numbered(number)).cloned();
        let (battery, feature) = (named(BATTERY_LEVEL), named(WEIGHT_FEATURE));
        let (tell, heard) = channel(VALUES);
        let mut tasks = JoinSet::new();
        // First the streams, then the subscription: so nothing that is sent is missed.
        let events = call(&scale, adapter.events()).await?;
        let values = call(&scale, device.notifications()).await?;
        tasks.spawn(drain(values, source.clone(), scale.clone(), now, tell.clone()));
        let ends = watch(events, device.clone(), scale.clone(), tell.clone());
        tasks.spawn(ends);
        answer(&scale, device.subscribe(&source)).await?;
        tasks.spawn(pulse(device.clone(), scale.clone(), tell.clone()));
        if let Some(feature) = feature {
            tasks.spawn(promise(device.clone(), feature, tell.clone()));
        }
        if let Some(level) = battery {
            tasks.spawn(charge(device.clone(), level, tell));
        }
        Ok(Self { heard, _tasks: tasks })
    }
}

/// A call that the scale itself has to answer.
async fn answer<T>(
    scale: &str,
    made: impl Future<Output = Result<T, btleplug::Error>>,
) -> Result<T, BleError> {
    match timeout(ANSWER, made).await {
        Ok(done) => done.map_err(|error| sort(scale, &error)),
        Err(_) => Err(BleError::Hangs { scale: scale.to_owned() }),
    }
}

/// The one characteristic to listen to.
fn pick(cfg: &Ble, offered: &[Characteristic]) -> Result<Characteristic, BleError> {
    let sends = CharPropFlags::NOTIFY | CharPropFlags::INDICATE;
    let meant = |c: &&Characteristic| {
        let named = cfg.characteristic.map_or_else(
            || ![BATTERY_LEVEL, SERVICE_CHANGED].map(numbered).contains(&c.uuid),
            |wanted| c.uuid == wanted,
        );
        named && c.properties.intersects(sends) && cfg.service.is_none_or(|wanted| c.service_uuid == wanted)
    };
    let found: Vec<&Characteristic> = offered.iter().filter(meant).collect();
    let scale = cfg.by.to_string();
    match found[..] {
        [] => Err(BleError::NothingToHear { scale, offers: offers(offered.iter()) }),
        [one] => Ok(one.clone()),
        _ => Err(BleError::SeveralToHear { scale, offers: offers(found.into_iter()) }),
    }
}

/// `service/characteristic` of each, as the settings take them.
fn offers<'a>(of: impl Iterator<Item = &'a Characteristic>) -> String {
    let list: Vec<String> = of.map(|c| format!("{}/{}", short(c.service_uuid), short(c.uuid))).collect();
    if list.is_empty() { "nothing".to_owned() } else { list.join(", ") }
}

/// Takes values as they come, stamps them and hands them on.
async fn drain(
    mut values: Pin<Box<dyn Stream<Item = ValueNotification> + Send>>,
    source: Characteristic,
    scale: String,
    now: impl Fn() -> Instant + Send,
    tell: Sender<Heard>,
) {
    while let Some(value) = values.next().await {
        let at = now();
        if value.uuid != source.uuid || value.service_uuid != source.service_uuid {
            continue;
        }
        if tell.try_send(Heard::Value(value.value, at)).is_err() {
            let _ = tell.send(Heard::Lost(BleError::TooMuch { scale })).await;
            return;
        }
    }
    // The stream's end is the end of the way to the bus.
    let _ = tell.send(Heard::Lost(BleError::Mute)).await;
}

/// Hears when the scale is disconnected or the adapter switched off.
async fn watch(
    mut events: Pin<Box<dyn Stream<Item = CentralEvent> + Send>>,
    device: Peripheral,
    scale: String,
    tell: Sender<Heard>,
) {
    while let Some(event) = events.next().await {
        let lost = if matches!(&event, CentralEvent::DeviceDisconnected(id) if *id == device.id()) {
            BleError::Dropped { scale: scale.clone() }
        } else if matches!(event, CentralEvent::StateUpdate(CentralState::PoweredOff)) {
            super::block::off()
        } else {
            continue;
        };
        if tell.send(Heard::Lost(lost)).await.is_err() {
            return;
        }
    }
}

/// Asks the system now and then whether the connection stands, and for the signal.
async fn pulse(device: Peripheral, scale: String, tell: Sender<Heard>) {
    for n in 0_u32.. {
        let said = match call(&scale, device.is_connected()).await {
            Ok(true) if n % SIGNAL_PULSES != 0 => None,
            Ok(true) => match call(&scale, device.properties()).await {
                Ok(known) => known
                    .and_then(|k| k.rssi)
                    .map(|dbm| Heard::Facts(Facts { signal_dbm: Some(dbm), ..Facts::default() })),
                Err(error) => Some(Heard::Lost(error)),
            },
            Ok(false) => Some(Heard::Lost(BleError::Dropped { scale: scale.clone() })),
            Err(error) => Some(Heard::Lost(error)),
        };
        if let Some(said) = said
            && tell.send(said).await.is_err()
        {
            return;
        }
        sleep(PULSE).await;
    }
}

/// Reads once what the scale promises of its step; one that does not answer promises nothing.
async fn promise(device: Peripheral, feature: Characteristic, tell: Sender<Heard>) {
    let read = timeout(ANSWER, device.read(&feature)).await;
    if let Ok(Ok(value)) = read
        && let Ok(bits) = <[u8; 4]>::try_from(value.as_slice())
    {
        let facts = Facts { weight_feature: Some(u32::from_le_bytes(bits)), ..Facts::default() };
        // A link that was given up meanwhile needs it no more.
        let _ = tell.send(Heard::Facts(facts)).await;
    }
}

/// Reads the battery's charge now and then.
async fn charge(device: Peripheral, level: Characteristic, tell: Sender<Heard>) {
    loop {
        // One byte, 0 to 100 (Battery Service 1.0, from memory); what is no percentage is left out.
        let read = timeout(ANSWER, device.read(&level)).await;
        if let Ok(Ok(value)) = read
            && let [percent @ 0..=100] = value[..]
        {
            let facts = Facts { battery_percent: Some(percent), ..Facts::default() };
            if tell.send(Heard::Facts(facts)).await.is_err() {
                return;
            }
        }
        sleep(BATTERY_EVERY).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::By;
    use std::collections::BTreeSet;

    fn offer(service: u16, number: u16, properties: CharPropFlags) -> Characteristic {
        let (uuid, service_uuid) = (numbered(number), numbered(service));
        Characteristic { uuid, service_uuid, properties, descriptors: BTreeSet::new() }
    }

    fn settings(service: Option<u16>, characteristic: Option<u16>) -> Ble {
        let (service, characteristic) = (service.map(numbered), characteristic.map(numbered));
        Ble { by: By::Name("invented".into()), service, characteristic }
    }

    #[test]
    fn the_only_one_that_sends_is_listened_to_and_the_battery_is_not_taken_for_it() {
        let offered = [
            offer(0x180f, BATTERY_LEVEL, CharPropFlags::READ | CharPropFlags::NOTIFY),
            offer(0x181d, 0x2a9e, CharPropFlags::READ),
            offer(0x181d, 0x2a9d, CharPropFlags::INDICATE),
        ];
        assert_eq!(pick(&settings(None, None), &offered).unwrap().uuid, numbered(0x2a9d));
        assert_eq!(
            pick(&settings(None, Some(BATTERY_LEVEL)), &offered).unwrap().uuid,
            numbered(BATTERY_LEVEL)
        );
        let said = pick(&settings(Some(0x1234), None), &offered).unwrap_err().to_string();
        assert!(said.contains("181d/2a9d"), "{said}");
        assert!(pick(&settings(None, Some(0x2a9e)), &offered).is_err(), "it can be read only");
        assert!(pick(&settings(None, None), &[]).unwrap_err().to_string().contains("nothing"));
    }

    fn values(n: usize, from: &Characteristic) -> Pin<Box<dyn Stream<Item = ValueNotification> + Send>> {
        let one = ValueNotification { uuid: from.uuid, service_uuid: from.service_uuid, value: vec![7] };
        Box::pin(futures_util::stream::iter(vec![one; n]).chain(futures_util::stream::pending()))
    }

    #[tokio::test]
    async fn a_channel_that_is_full_ends_the_connection_and_loses_no_value_before_the_end() {
        let source = offer(0x181d, 0x2a9d, CharPropFlags::NOTIFY);
        let (tell, mut heard) = channel(VALUES);
        let (stream, too) = (values(VALUES + 50, &source), source.clone());
        let drained = tokio::spawn(drain(stream, too, "x".into(), || Instant::START, tell));
        // Nobody listens until it is full.
        while heard.len() < VALUES {
            tokio::task::yield_now().await;
        }
        let mut got = 0;
        while let Some(Heard::Value(value, _)) = heard.recv().await {
            assert_eq!(value, [7]);
            got += 1;
        }
        assert_eq!(got, VALUES, "then it said that it was too much");
        drained.await.unwrap();
    }

    #[tokio::test]
    async fn only_the_values_of_what_is_listened_to_are_handed_on() {
        let (source, other) = (
            offer(0x181d, 0x2a9d, CharPropFlags::NOTIFY),
            offer(0x180f, BATTERY_LEVEL, CharPropFlags::NOTIFY),
        );
        let (tell, mut heard) = channel(VALUES);
        let both = Box::pin(values(3, &other).take(3).chain(values(2, &source).take(2)));
        drain(both, source, "x".into(), || Instant::START, tell).await;
        let kinds: Vec<bool> =
            std::iter::from_fn(|| heard.try_recv().ok()).map(|h| matches!(h, Heard::Value(..))).collect();
        assert_eq!(kinds, [true, true, false], "two values, then the end of the stream");
    }

    #[test]
    fn with_several_that_send_each_is_named_and_the_settings_decide() {
        let offered =
            [offer(0x1111, 0x2222, CharPropFlags::NOTIFY), offer(0x3333, 0x2222, CharPropFlags::NOTIFY)];
        let said = pick(&settings(None, Some(0x2222)), &offered).unwrap_err();
        assert!(said.to_string().contains("1111/2222, 3333/2222"), "{said}");
        let picked = pick(&settings(Some(0x3333), Some(0x2222)), &offered).unwrap();
        assert_eq!(picked.service_uuid, numbered(0x3333));
    }
}
