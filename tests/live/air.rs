//! A stand-in for the system's Bluetooth service, on a message bus of its own.
//!
//! It is not the real service: names, properties and the order of events follow that service's
//! interface descriptions as far as the link under test uses them (from memory), and every scale is
//! invented. The daemon under test is always a child process, as its library remembers one bus for life.

use std::collections::HashMap;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use zbus::object_server::SignalEmitter;
use zbus::wire::{OwnedObjectPath, OwnedVariant};
use zbus::{Connection, connection, fdo, interface};

/// A message bus.
pub(crate) struct Bus {
    child: Child,
    socket: PathBuf,
    config: Option<PathBuf>,
}

impl Bus {
    pub(crate) fn start(dir: &Path) -> Self {
        Self::start_with(dir.join("bus"), None)
    }

    /// A bus on which nobody may talk to the Bluetooth service.
    pub(crate) fn start_forbidding(dir: &Path) -> Self {
        let config = dir.join("bus.conf");
        let text = format!(
            "<busconfig><listen>unix:path={}</listen><auth>EXTERNAL</auth><policy context='default'>\
             <allow send_destination='*'/><allow own='*'/><allow receive_sender='*'/><allow eavesdrop='true'/>\
             <deny send_destination='org.bluez' send_interface='org.freedesktop.DBus.ObjectManager'/>\
             </policy></busconfig>",
            dir.join("bus").display()
        );
        std::fs::write(&config, text).expect("a file");
        Self::start_with(dir.join("bus"), Some(config))
    }

    fn start_with(socket: PathBuf, config: Option<PathBuf>) -> Self {
        let child = launch(&socket, config.as_deref());
        Self { child, socket, config }
    }

    pub(crate) fn address(&self) -> String {
        format!("unix:path={}", self.socket.display())
    }

    pub(crate) fn kill(&mut self) {
        self.child.kill().expect("our own child");
        self.child.wait().expect("it ends");
    }

    /// After a kill: a new one in the same place.
    pub(crate) fn again(&mut self) {
        self.child = launch(&self.socket, self.config.as_deref());
    }
}

fn launch(socket: &Path, config: Option<&Path>) -> Child {
    let _ = std::fs::remove_file(socket);
    let mut command = Command::new("dbus-daemon");
    match config {
        Some(file) => command.arg(format!("--config-file={}", file.display())),
        None => command.args(["--session", &format!("--address=unix:path={}", socket.display())]),
    };
    command.args(["--nofork", "--nopidfile", "--print-address=1"]);
    command.stdout(Stdio::piped()).stderr(Stdio::null());
    let mut child = command.spawn().expect("dbus-daemon (tests/setup.sh installs it)");
    let mut said = String::new();
    BufReader::new(child.stdout.as_mut().expect("piped")).read_line(&mut said).expect("an address");
    assert!(said.starts_with("unix:"), "the bus did not start: '{said}'");
    child
}

impl Drop for Bus {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An invented scale.
#[derive(Clone)]
pub(crate) struct Scale {
    pub(crate) address: &'static str,
    pub(crate) name: &'static str,
    pub(crate) signal_dbm: i16,
    /// Percent; none: it has no battery service.
    pub(crate) battery: Option<u8>,
    /// Sends with a receipt for each value.
    pub(crate) indicates: bool,
    /// Has the standard's Weight Scale Service in place of one of its own.
    pub(crate) standard: bool,
    /// Its service has no characteristics.
    pub(crate) bare: bool,
}

pub(crate) const NAME: &str = "invented bench";
pub(crate) const ADDRESS: &str = "02:00:00:00:00:01";

impl Scale {
    /// Its service and characteristic.
    fn uuids(&self) -> [&'static str; 2] {
        if self.standard { STANDARD } else { [SERVICE, WEIGHT] }
    }
}

impl Default for Scale {
    fn default() -> Self {
        Self {
            address: ADDRESS,
            name: NAME,
            signal_dbm: -55,
            battery: Some(80),
            indicates: false,
            standard: false,
            bare: false,
        }
    }
}

/// What the test sets and sees of one scale.
#[derive(Default)]
pub(crate) struct Knobs {
    /// The adapter is off.
    off: AtomicBool,
    /// A connection never comes about.
    pub(crate) hang: AtomicBool,
    /// It takes a subscription and sends nothing.
    pub(crate) mute: AtomicBool,
    /// The adapter won't search.
    pub(crate) no_search: AtomicBool,
    /// It refuses a subscription.
    pub(crate) refuse: AtomicBool,
    /// Once: its connection breaks off instead of a subscription.
    pub(crate) cut_instead: AtomicBool,
    /// What it has is never all told.
    pub(crate) never_loaded: AtomicBool,
    /// Somebody listens to its battery.
    battery_listening: AtomicBool,
    pub(crate) battery_reads: AtomicU32,
    pub(crate) connects: AtomicU32,
    pub(crate) disconnects: AtomicU32,
    pub(crate) writes: AtomicU32,
    /// Values sent while somebody listened.
    pub(crate) sent: AtomicU64,
    listening: AtomicBool,
}

#[derive(Debug, zbus::DBusError)]
#[zbus(prefix = "org.bluez.Error")]
enum Refusal {
    #[zbus(error)]
    ZBus(zbus::Error),
    Failed(String),
    NotReady(String),
    InProgress(String),
}

const ADAPTER: &str = "/org/bluez/hci0";
/// Made up for these tests.
pub(crate) const SERVICE: &str = "f3a10000-7c1e-4b6e-9d55-0a0b0c0d0e0f";
const WEIGHT: &str = "f3a10001-7c1e-4b6e-9d55-0a0b0c0d0e0f";
/// Weight Scale Service and Weight Measurement (Bluetooth Assigned Numbers).
const STANDARD: [&str; 2] = ["0000181d-0000-1000-8000-00805f9b34fb", "00002a9d-0000-1000-8000-00805f9b34fb"];
const FEATURE: &str = "00002a9e-0000-1000-8000-00805f9b34fb";
const BATTERY: &str = "0000180f-0000-1000-8000-00805f9b34fb";
const BATTERY_LEVEL: &str = "00002a19-0000-1000-8000-00805f9b34fb";

fn path(text: &str) -> OwnedObjectPath {
    OwnedObjectPath::try_from(text.to_owned()).expect("a path")
}

struct Adapter {
    powered: bool,
    searching: bool,
    scales: Vec<(Scale, Arc<Knobs>)>,
    switched_on: Arc<AtomicU32>,
}

#[interface(name = "org.bluez.Adapter1")]
impl Adapter {
    async fn start_discovery(&mut self, #[zbus(connection)] c: &Connection) -> Result<(), Refusal> {
        if !self.powered {
            return Err(Refusal::NotReady("Resource Not Ready".into()));
        }
        if self.scales.iter().any(|(_, knobs)| knobs.no_search.load(Ordering::SeqCst)) {
            return Err(Refusal::Failed("a made-up reason".into()));
        }
        if std::mem::replace(&mut self.searching, true) {
            return Err(Refusal::InProgress("Operation already in progress".into()));
        }
        let (c, scales) = (c.clone(), self.scales.clone());
        tokio::spawn(async move {
            // Heard at its next announcement.
            tokio::time::sleep(Duration::from_millis(100)).await;
            for (scale, knobs) in scales {
                let device = Device { scale: scale.clone(), knobs, connected: false, resolved: false };
                let _ = c.object_server().at(place(&scale), device).await;
            }
        });
        Ok(())
    }
    async fn stop_discovery(&mut self) -> Result<(), Refusal> {
        if std::mem::replace(&mut self.searching, false) {
            return Ok(());
        }
        Err(Refusal::Failed("No discovery started".into()))
    }
    async fn set_discovery_filter(&self, _filter: HashMap<String, OwnedVariant>) {}
    #[zbus(property)]
    fn address(&self) -> &str {
        "02:00:00:00:00:FF"
    }
    #[zbus(property)]
    fn address_type(&self) -> &str {
        "public"
    }
    #[zbus(property)]
    fn name(&self) -> &str {
        "stand-in"
    }
    #[zbus(property)]
    fn alias(&self) -> &str {
        "stand-in"
    }
    #[zbus(property)]
    fn modalias(&self) -> &str {
        "usb:v0000p0000d0000"
    }
    #[zbus(property)]
    fn powered(&self) -> bool {
        self.powered
    }
    #[zbus(property)]
    async fn set_powered(&mut self, on: bool) {
        if on && !self.powered {
            self.switched_on.fetch_add(1, Ordering::SeqCst);
        }
        self.powered = on;
    }
    #[zbus(property)]
    fn discovering(&self) -> bool {
        self.searching
    }
}

fn place(scale: &Scale) -> String {
    format!("{ADAPTER}/dev_{}", scale.address.replace(':', "_"))
}

struct Device {
    scale: Scale,
    knobs: Arc<Knobs>,
    connected: bool,
    resolved: bool,
}

#[interface(name = "org.bluez.Device1")]
impl Device {
    async fn connect(
        &mut self,
        #[zbus(connection)] c: &Connection,
        #[zbus(signal_emitter)] e: SignalEmitter<'_>,
    ) -> Result<(), Refusal> {
        if self.knobs.off.load(Ordering::SeqCst) {
            return Err(Refusal::NotReady("Resource Not Ready".into()));
        }
        while self.knobs.hang.load(Ordering::SeqCst) {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
        self.knobs.connects.fetch_add(1, Ordering::SeqCst);
        self.connected = true;
        self.connected_changed(&e).await?;
        let (c, scale, knobs) = (c.clone(), self.scale.clone(), self.knobs.clone());
        tokio::spawn(async move {
            // Its services are asked for over the air.
            tokio::time::sleep(Duration::from_millis(100)).await;
            if !knobs.never_loaded.load(Ordering::SeqCst) {
                let _ = offer(&c, &scale, &knobs).await;
            }
        });
        Ok(())
    }
    async fn disconnect(&mut self, #[zbus(connection)] c: &Connection) {
        self.knobs.disconnects.fetch_add(1, Ordering::SeqCst);
        let (c, scale) = (c.clone(), self.scale.clone());
        tokio::spawn(async move { part(&c, &scale).await });
    }
    #[zbus(property)]
    fn address(&self) -> &str {
        self.scale.address
    }
    #[zbus(property)]
    fn address_type(&self) -> &str {
        "random"
    }
    #[zbus(property)]
    fn name(&self) -> &str {
        self.scale.name
    }
    #[zbus(property)]
    fn alias(&self) -> &str {
        self.scale.name
    }
    #[zbus(property, name = "RSSI")]
    fn rssi(&self) -> i16 {
        self.scale.signal_dbm
    }
    #[zbus(property, name = "UUIDs")]
    fn uuids(&self) -> Vec<String> {
        let battery = self.scale.battery.map(|_| BATTERY.to_owned());
        std::iter::once(self.scale.uuids()[0].to_owned()).chain(battery).collect()
    }
    #[zbus(property)]
    fn paired(&self) -> bool {
        false
    }
    #[zbus(property)]
    fn trusted(&self) -> bool {
        false
    }
    #[zbus(property)]
    fn blocked(&self) -> bool {
        false
    }
    #[zbus(property)]
    fn legacy_pairing(&self) -> bool {
        false
    }
    #[zbus(property)]
    fn connected(&self) -> bool {
        self.connected
    }
    #[zbus(property)]
    fn services_resolved(&self) -> bool {
        self.resolved
    }
    #[zbus(property)]
    fn adapter(&self) -> OwnedObjectPath {
        path(ADAPTER)
    }
}

struct Service {
    uuid: &'static str,
    of: String,
}

#[interface(name = "org.bluez.GattService1")]
impl Service {
    #[zbus(property, name = "UUID")]
    fn uuid(&self) -> &str {
        self.uuid
    }
    #[zbus(property)]
    fn primary(&self) -> bool {
        true
    }
    #[zbus(property)]
    fn device(&self) -> OwnedObjectPath {
        path(&self.of)
    }
}

struct Characteristic {
    uuid: &'static str,
    of: String,
    flags: &'static [&'static str],
    value: Vec<u8>,
    knobs: Arc<Knobs>,
}

#[interface(name = "org.bluez.GattCharacteristic1")]
impl Characteristic {
    async fn start_notify(&mut self, #[zbus(connection)] c: &Connection) -> Result<(), Refusal> {
        if self.uuid == BATTERY_LEVEL {
            self.knobs.battery_listening.store(true, Ordering::SeqCst);
            return Ok(());
        }
        if self.knobs.refuse.load(Ordering::SeqCst) {
            return Err(Refusal::Failed("a made-up reason".into()));
        }
        if self.knobs.cut_instead.swap(false, Ordering::SeqCst) {
            self.of.truncate(self.of.rfind('/').unwrap_or(0));
            disconnected(c, &self.of).await;
            return Err(Refusal::Failed("Not connected".into()));
        }
        self.knobs.listening.store(true, Ordering::SeqCst);
        Ok(())
    }
    async fn stop_notify(&mut self) -> Result<(), Refusal> {
        if self.knobs.listening.swap(false, Ordering::SeqCst) {
            return Ok(());
        }
        Err(Refusal::Failed("No notify session started".into()))
    }
    async fn read_value(&self, _options: HashMap<String, OwnedVariant>) -> Vec<u8> {
        if self.uuid == BATTERY_LEVEL {
            self.knobs.battery_reads.fetch_add(1, Ordering::SeqCst);
        }
        self.value.clone()
    }
    async fn write_value(&mut self, _value: Vec<u8>, _options: HashMap<String, OwnedVariant>) {
        self.knobs.writes.fetch_add(1, Ordering::SeqCst);
    }
    #[zbus(property, name = "UUID")]
    fn uuid(&self) -> &str {
        self.uuid
    }
    #[zbus(property)]
    fn service(&self) -> OwnedObjectPath {
        path(&self.of)
    }
    #[zbus(property)]
    fn flags(&self) -> Vec<String> {
        self.flags.iter().map(|f| (*f).to_owned()).collect()
    }
    #[zbus(property)]
    fn value(&self) -> Vec<u8> {
        self.value.clone()
    }
}

fn weight_place(scale: &Scale) -> String {
    format!("{}/service0010/char0011", place(scale))
}

fn feature_place(scale: &Scale) -> String {
    format!("{}/service0010/char0013", place(scale))
}

/// Shows the services of a connected scale.
async fn offer(c: &Connection, scale: &Scale, knobs: &Arc<Knobs>) -> zbus::Result<()> {
    let (server, of) = (c.object_server(), place(scale));
    let (first, [service, weight]) = (format!("{of}/service0010"), scale.uuids());
    server.at(first.as_str(), Service { uuid: service, of: of.clone() }).await?;
    let flags: &[&str] = if scale.indicates { &["read", "indicate"] } else { &["read", "write", "notify"] };
    let weight = Characteristic { uuid: weight, of: first, flags, value: Vec::new(), knobs: knobs.clone() };
    if !scale.bare {
        server.at(weight_place(scale), weight).await?;
    }
    if scale.standard {
        // 0.01 kg or 0.02 lb: code 6 in bits 3 to 6.
        let of = format!("{of}/service0010");
        let value = vec![0x30, 0, 0, 0];
        let feature = Characteristic { uuid: FEATURE, of, flags: &["read"], value, knobs: knobs.clone() };
        server.at(feature_place(scale), feature).await?;
    }
    if let Some(percent) = scale.battery {
        let second = format!("{of}/service0020");
        server.at(second.as_str(), Service { uuid: BATTERY, of: of.clone() }).await?;
        let level = Characteristic {
            uuid: BATTERY_LEVEL,
            of: second.clone(),
            flags: &["read", "notify"],
            value: vec![percent],
            knobs: knobs.clone(),
        };
        server.at(format!("{second}/char0021"), level).await?;
    }
    let device = server.interface::<_, Device>(of.as_str()).await?;
    device.get_mut().await.resolved = true;
    device.get().await.services_resolved_changed(device.signal_emitter()).await
}

/// The connection is no more, and the service says so.
async fn part(c: &Connection, scale: &Scale) {
    disconnected(c, &place(scale)).await;
    forget_services(c, scale).await;
}

async fn disconnected(c: &Connection, of: &str) {
    if let Ok(device) = c.object_server().interface::<_, Device>(of).await {
        {
            let mut inner = device.get_mut().await;
            inner.knobs.listening.store(false, Ordering::SeqCst);
            inner.knobs.battery_listening.store(false, Ordering::SeqCst);
            (inner.connected, inner.resolved) = (false, false);
        }
        let inner = device.get().await;
        let _ = inner.services_resolved_changed(device.signal_emitter()).await;
        let _ = inner.connected_changed(device.signal_emitter()).await;
    }
}

async fn forget_services(c: &Connection, scale: &Scale) {
    let (server, of) = (c.object_server(), place(scale));
    let _ = server.remove::<Characteristic, _>(weight_place(scale)).await;
    let _ = server.remove::<Characteristic, _>(feature_place(scale)).await;
    let _ = server.remove::<Service, _>(format!("{of}/service0010")).await;
    let _ = server.remove::<Characteristic, _>(format!("{of}/service0020/char0021")).await;
    let _ = server.remove::<Service, _>(format!("{of}/service0020")).await;
}

/// A service that takes every question and never answers.
struct Deaf;

#[interface(name = "org.freedesktop.DBus.ObjectManager")]
impl Deaf {
    async fn get_managed_objects(
        &self,
    ) -> HashMap<OwnedObjectPath, HashMap<String, HashMap<String, OwnedVariant>>> {
        std::future::pending().await
    }
}

/// The radio at the start.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Radio {
    On,
    Off,
    Absent,
    /// The service never answers.
    Deaf,
}

/// The stand-in service.
pub(crate) struct Air {
    runtime: tokio::runtime::Runtime,
    connection: Mutex<Option<Connection>>,
    scales: Vec<(Scale, Arc<Knobs>)>,
    switched_on: Arc<AtomicU32>,
}

impl Air {
    /// Starts it on this bus with these scales in reach.
    pub(crate) fn start(bus: &Bus, radio: Radio, scales: &[Scale]) -> Arc<Self> {
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build();
        let air = Self {
            runtime: runtime.expect("a runtime"),
            connection: Mutex::default(),
            scales: scales.iter().map(|s| (s.clone(), Arc::default())).collect(),
            switched_on: Arc::default(),
        };
        air.begin(bus, radio);
        Arc::new(air)
    }

    /// Starts it (again).
    pub(crate) fn begin(&self, bus: &Bus, radio: Radio) {
        let address = bus.address();
        let plain = connection::Builder::address(address.as_str());
        let mut builder = match radio {
            Radio::Deaf => plain.serve_at("/", Deaf),
            Radio::On | Radio::Off | Radio::Absent => plain.serve_at("/", fdo::ObjectManager),
        };
        self.scales.iter().for_each(|(_, k)| k.off.store(radio != Radio::On, Ordering::SeqCst));
        if matches!(radio, Radio::On | Radio::Off) {
            let (scales, switched_on) = (self.scales.clone(), self.switched_on.clone());
            let adapter = Adapter { powered: radio == Radio::On, searching: false, scales, switched_on };
            builder = builder.serve_at(ADAPTER, adapter);
        }
        let made = self.runtime.block_on(builder.name("org.bluez").build()).expect("a service on the bus");
        *self.connection.lock().unwrap() = Some(made);
    }

    /// It dies: what was connected is no more, and nobody says so.
    pub(crate) fn die(&self) {
        let connection = self.connection.lock().unwrap().take();
        self.scales.iter().for_each(|(_, knobs)| knobs.listening.store(false, Ordering::SeqCst));
        let Some(connection) = connection else { return };
        // On a dead bus there is nothing to close.
        let _ = self.runtime.block_on(connection.close());
    }

    /// The n-th scale's knobs.
    pub(crate) fn knobs(&self, n: usize) -> &Knobs {
        &self.scales[n].1
    }

    /// How often somebody switched the adapter on.
    pub(crate) fn switched_on(&self) -> u32 {
        self.switched_on.load(Ordering::SeqCst)
    }

    fn with<T>(&self, work: impl AsyncFnOnce(Connection) -> T) -> Option<T> {
        let connection = self.connection.lock().unwrap().clone()?;
        Some(self.runtime.block_on(work(connection)))
    }

    /// The first scale sends a value, if somebody listens; in the value's own order.
    pub(crate) fn send(&self, value: &[u8]) {
        let (scale, knobs) = &self.scales[0];
        if !knobs.listening.load(Ordering::SeqCst) || knobs.mute.load(Ordering::SeqCst) {
            return;
        }
        self.with(async |c| {
            let Ok(weight) = c.object_server().interface::<_, Characteristic>(weight_place(scale)).await
            else {
                return;
            };
            weight.get_mut().await.value = value.to_vec();
            if weight.get().await.value_changed(weight.signal_emitter()).await.is_ok() {
                knobs.sent.fetch_add(1, Ordering::SeqCst);
            }
        });
    }

    /// The first scale's battery tells its charge, if somebody listens.
    pub(crate) fn tell_charge(&self, percent: u8) {
        let (scale, knobs) = &self.scales[0];
        assert!(knobs.battery_listening.load(Ordering::SeqCst), "nobody listens to the battery");
        let level = format!("{}/service0020/char0021", place(scale));
        self.with(async |c| {
            let level = c.object_server().interface::<_, Characteristic>(level).await.expect("a battery");
            level.get_mut().await.value = vec![percent];
            level.get().await.value_changed(level.signal_emitter()).await.expect("said");
        });
    }

    /// The connection to the first scale breaks off.
    pub(crate) fn cut(&self) {
        self.with(async |c| part(&c, &self.scales[0].0).await);
    }

    /// The first scale is forgotten without a word.
    pub(crate) fn vanish(&self) {
        let (scale, knobs) = &self.scales[0];
        knobs.listening.store(false, Ordering::SeqCst);
        self.with(async |c| {
            forget_services(&c, scale).await;
            let _ = c.object_server().remove::<Device, _>(place(scale)).await;
        });
    }

    /// Somebody turns the radio's switch.
    pub(crate) fn power(&self, on: bool) {
        self.with(async |c| {
            for (scale, knobs) in &self.scales {
                knobs.off.store(!on, Ordering::SeqCst);
                if !on {
                    part(&c, scale).await;
                }
            }
            let adapter = c.object_server().interface::<_, Adapter>(ADAPTER).await.expect("an adapter");
            {
                let mut inner = adapter.get_mut().await;
                inner.powered = on;
                inner.searching &= on;
            }
            adapter.get().await.powered_changed(adapter.signal_emitter()).await.expect("said");
        });
    }
}
