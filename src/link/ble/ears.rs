//! Listening to a connected scale: what arrives is stamped and drained in tasks of its own.
//!
//! The library's streams have no bound, so nothing here ever lets them fill: values go into a bounded
//! channel, and when that is full the connection is given up rather than part of a line lost.

use super::find::{call, dbm};
use super::trouble::{BleError, sort};
use crate::link::Facts;
use crate::settings::{Ble, numbered, short};
use crate::time::Instant;
use btleplug::api::{
    Central as _, CentralEvent, CentralState, CharPropFlags, Characteristic, Peripheral as _, Service,
    ValueNotification,
};
use btleplug::platform::{Adapter, Peripheral};
use futures_util::{Stream, StreamExt as _};
use std::collections::BTreeSet;
use std::pin::Pin;
use std::time::Duration;
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio::task::JoinSet;
use tokio::time::{sleep, timeout};
use uuid::Uuid;

/// Values that may wait: a quarter of a second of a scale that sends a thousand a second (chosen: many
/// times the rate of a bench scale, so that only a daemon that hangs fills it).
const VALUES: usize = 256;
/// The services of a scale are asked for over the air: some hundred milliseconds as a rule, and this is the
/// longest wait (own choice).
const ANSWER: Duration = Duration::from_secs(5);
/// A connection is looked at this often, as the system does not tell when it forgets a scale or ends itself
/// (chosen: as long as `fault` may take).
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
/// Services that every device may have and that never hold a weight: Generic Access, Generic Attribute,
/// Device Information, Battery (Bluetooth Assigned Numbers, from memory).
const NO_WEIGHT: [u16; 4] = [0x1800, 0x1801, 0x180a, 0x180f];

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
        let services = match answer(&scale, device.discover_services()).await {
            Ok(()) => device.services(),
            Err(trouble) => return Err(while_loading(device, trouble).await),
        };
        let offered: Vec<Characteristic> = device.characteristics().into_iter().collect();
        let source = match pick(cfg, &services) {
            Ok(source) => source,
            Err(trouble) => return Err(while_loading(device, trouble).await),
        };
        let named = |number: u16| offered.iter().find(|c| c.uuid == numbered(number)).cloned();
        let (battery, feature) = (named(BATTERY_LEVEL), named(WEIGHT_FEATURE));
        let (tell, heard) = channel(VALUES);
        let mut tasks = JoinSet::new();
        // First the streams, then the subscription: so nothing that is sent is missed.
        let events = call(&scale, adapter.events()).await?;
        let values = call(&scale, device.notifications()).await?;
        let heard_of = Sources { weight: source.clone(), battery: battery.clone() };
        tasks.spawn(drain(values, heard_of, scale.clone(), now, tell.clone()));
        let ends = watch(events, device.clone(), scale.clone(), tell.clone());
        tasks.spawn(ends);
        if let Err(trouble) = answer(&scale, device.subscribe(&source)).await {
            return Err(while_loading(device, refused(trouble)).await);
        }
        tasks.spawn(pulse(device.clone(), scale.clone(), tell.clone()));
        // It speaks of its own service's weights only.
        if let Some(feature) = feature.filter(|feature| feature.service_uuid == source.service_uuid) {
            tasks.spawn(promise(device.clone(), feature, tell.clone()));
        }
        // What is listened to for weights is never taken for the battery's charge.
        if let Some(level) = battery.filter(|level| *level != source) {
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

/// A subscription that the scale refused is no connection that was refused.
fn refused(trouble: BleError) -> BleError {
    if let BleError::Refused { scale, why } = trouble {
        BleError::SendsNothing { scale, why }
    } else {
        trouble
    }
}

/// What is asked of a scale that was cut off meanwhile ends in any trouble, and so does a list of what it has
/// that is half gone: the cut is the trouble then.
async fn while_loading(device: &Peripheral, trouble: BleError) -> BleError {
    let Some(scale) = trouble.may_be_a_cut() else { return trouble };
    match call(scale, device.is_connected()).await {
        Ok(false) => BleError::CutWhileLoading { scale: scale.to_owned() },
        Ok(true) | Err(_) => trouble,
    }
}

/// The one characteristic to listen to.
fn pick(cfg: &Ble, services: &BTreeSet<Service>) -> Result<Characteristic, BleError> {
    let sends = CharPropFlags::NOTIFY | CharPropFlags::INDICATE;
    let meant = |c: &&Characteristic| {
        let named = cfg.characteristic.map_or_else(
            || {
                let system = [BATTERY_LEVEL, SERVICE_CHANGED].map(numbered).contains(&c.uuid);
                !system && (cfg.service.is_some() || may_weigh(c.service_uuid))
            },
            |wanted| c.uuid == wanted,
        );
        named && c.properties.intersects(sends) && cfg.service.is_none_or(|wanted| c.service_uuid == wanted)
    };
    let found: Vec<&Characteristic> =
        services.iter().flat_map(|s| &s.characteristics).filter(meant).collect();
    let scale = cfg.by.to_string();
    match found[..] {
        [] => Err(BleError::NothingToHear { scale, offers: offers(services) }),
        [one] => Ok(one.clone()),
        _ => {
            let offers = found.into_iter().map(offer).collect::<Vec<_>>().join(", ");
            Err(BleError::SeveralToHear { scale, offers })
        }
    }
}

fn may_weigh(service: Uuid) -> bool {
    !NO_WEIGHT.map(numbered).contains(&service)
}

/// `service/characteristic`, as the settings take them.
fn offer(c: &Characteristic) -> String {
    format!("{}/{}", short(c.service_uuid), short(c.uuid))
}

/// All that may hold a weight.
fn offers(services: &BTreeSet<Service>) -> String {
    let list: Vec<String> = services
        .iter()
        .filter(|s| may_weigh(s.uuid))
        .flat_map(|s| match s.characteristics.is_empty() {
            true => vec![format!("{} without characteristics", short(s.uuid))],
            false => s.characteristics.iter().map(offer).collect(),
        })
        .collect();
    if list.is_empty() { "nothing".to_owned() } else { list.join(", ") }
}

/// What values may come from.
struct Sources {
    weight: Characteristic,
    battery: Option<Characteristic>,
}

fn is_of(value: &ValueNotification, source: &Characteristic) -> bool {
    value.uuid == source.uuid && value.service_uuid == source.service_uuid
}

/// Takes values as they come, stamps them and hands them on.
async fn drain(
    mut values: Pin<Box<dyn Stream<Item = ValueNotification> + Send>>,
    sources: Sources,
    scale: String,
    now: impl Fn() -> Instant + Send,
    tell: Sender<Heard>,
) {
    while let Some(value) = values.next().await {
        let at = now();
        if !is_of(&value, &sources.weight) {
            let charge =
                sources.battery.as_ref().filter(|level| is_of(&value, level)).and(percent(&value.value));
            // The next one is as good, should the channel be full.
            charge.into_iter().for_each(|facts| drop(tell.try_send(facts)));
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
                    .and_then(|k| k.rssi.and_then(dbm))
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

/// A battery's charge: one byte, 0 to 100 (Battery Service 1.0, from memory); what is no percentage is left out.
fn percent(value: &[u8]) -> Option<Heard> {
    match *value {
        [percent @ 0..=100] => {
            Some(Heard::Facts(Facts { battery_percent: Some(percent), ..Facts::default() }))
        }
        _ => None,
    }
}

/// Reads the battery's charge, and again now and then where the scale does not tell its changes by itself.
async fn charge(device: Peripheral, level: Characteristic, tell: Sender<Heard>) {
    let offers = level.properties.intersects(CharPropFlags::NOTIFY | CharPropFlags::INDICATE);
    let told = offers && matches!(timeout(ANSWER, device.subscribe(&level)).await, Ok(Ok(())));
    loop {
        if let Ok(Ok(value)) = timeout(ANSWER, device.read(&level)).await
            && let Some(facts) = percent(&value)
            && tell.send(facts).await.is_err()
        {
            return;
        }
        if told {
            return;
        }
        sleep(BATTERY_EVERY).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::By;

    fn of(offered: &[Characteristic]) -> BTreeSet<Service> {
        let mut services: Vec<Service> = Vec::new();
        for c in offered {
            match services.iter_mut().find(|s| s.uuid == c.service_uuid) {
                Some(s) => drop(s.characteristics.insert(c.clone())),
                None => services.push(Service {
                    uuid: c.service_uuid,
                    primary: true,
                    characteristics: BTreeSet::from([c.clone()]),
                }),
            }
        }
        services.into_iter().collect()
    }

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
        assert_eq!(pick(&settings(None, None), &of(&offered)).unwrap().uuid, numbered(0x2a9d));
        assert_eq!(
            pick(&settings(None, Some(BATTERY_LEVEL)), &of(&offered)).unwrap().uuid,
            numbered(BATTERY_LEVEL)
        );
        let said = pick(&settings(Some(0x1234), None), &of(&offered)).unwrap_err().to_string();
        assert!(said.contains("181d/2a9d"), "{said}");
        assert!(pick(&settings(None, Some(0x2a9e)), &of(&offered)).is_err(), "it can be read only");
        assert!(pick(&settings(None, None), &of(&[])).unwrap_err().to_string().contains("nothing"));
    }

    fn values(n: usize, from: &Characteristic) -> Pin<Box<dyn Stream<Item = ValueNotification> + Send>> {
        let one = ValueNotification { uuid: from.uuid, service_uuid: from.service_uuid, value: vec![7] };
        Box::pin(futures_util::stream::iter(vec![one; n]).chain(futures_util::stream::pending()))
    }

    #[tokio::test]
    async fn a_channel_that_is_full_ends_the_connection_and_loses_no_value_before_the_end() {
        let source = offer(0x181d, 0x2a9d, CharPropFlags::NOTIFY);
        let (tell, mut heard) = channel(VALUES);
        let too = Sources { weight: source.clone(), battery: None };
        let stream = values(VALUES + 50, &source);
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
        drain(both, Sources { weight: source, battery: None }, "x".into(), || Instant::START, tell).await;
        let kinds: Vec<bool> =
            std::iter::from_fn(|| heard.try_recv().ok()).map(|h| matches!(h, Heard::Value(..))).collect();
        assert_eq!(kinds, [true, true, false], "two values, then the end of the stream");
    }

    #[tokio::test]
    async fn a_charge_that_the_battery_tells_by_itself_is_a_fact_and_one_that_can_not_be_is_left_out() {
        let (weight, battery) = (
            offer(0x181d, 0x2a9d, CharPropFlags::NOTIFY),
            offer(0x180f, BATTERY_LEVEL, CharPropFlags::NOTIFY),
        );
        let (tell, mut heard) = channel(VALUES);
        let told = [vec![79], vec![101], vec![], vec![1, 2]].map(|value| ValueNotification {
            uuid: battery.uuid,
            service_uuid: battery.service_uuid,
            value,
        });
        let sources = Sources { weight, battery: Some(battery) };
        drain(Box::pin(futures_util::stream::iter(told)), sources, "x".into(), || Instant::START, tell).await;
        let mut charges = Vec::new();
        while let Some(Heard::Facts(facts)) = heard.recv().await {
            charges.push(facts.battery_percent);
        }
        assert_eq!(charges, [Some(79)]);
    }

    #[test]
    fn what_holds_no_weight_is_no_candidate_and_a_service_without_characteristics_is_named_as_one() {
        let mut services = of(&[
            offer(0x1801, SERVICE_CHANGED, CharPropFlags::INDICATE),
            offer(0x1800, 0x2a00, CharPropFlags::READ | CharPropFlags::NOTIFY),
            offer(0x180a, 0x2a29, CharPropFlags::READ),
            offer(0x180f, BATTERY_LEVEL, CharPropFlags::READ | CharPropFlags::NOTIFY),
        ]);
        let said = |services: &_| pick(&settings(None, None), services).unwrap_err().to_string();
        assert!(said(&services).ends_with("what it has: nothing"), "{}", said(&services));
        services.insert(Service { uuid: numbered(0x181d), primary: true, characteristics: BTreeSet::new() });
        assert!(
            said(&services).ends_with("what it has: 181d without characteristics"),
            "{}",
            said(&services)
        );
    }

    #[test]
    fn with_several_that_send_each_is_named_and_the_settings_decide() {
        let offered =
            [offer(0x1111, 0x2222, CharPropFlags::NOTIFY), offer(0x3333, 0x2222, CharPropFlags::NOTIFY)];
        let said = pick(&settings(None, Some(0x2222)), &of(&offered)).unwrap_err();
        assert!(said.to_string().contains("1111/2222, 3333/2222"), "{said}");
        let picked = pick(&settings(Some(0x3333), Some(0x2222)), &of(&offered)).unwrap();
        assert_eq!(picked.service_uuid, numbered(0x3333));
    }
}
