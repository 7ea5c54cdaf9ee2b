//! The supervisor: one function per state, each of which ends in the next state or in a trouble.

use super::block;
use super::course::{Course, Stage};
use super::ears::{Ears, Heard};
use super::find::{self, call};
use super::trouble::{BleError, sort};
use super::way::{self, Opening, Way};
use crate::link::{Facts, LinkEvent};
use crate::settings::{Ble, By};
use crate::time::Instant;
use btleplug::api::Peripheral as _;
use btleplug::platform::{Adapter, Peripheral};
use std::sync::Arc;
use std::time::Duration;
use tokio::time::{sleep, timeout, timeout_at};

/// One search; what was not heard by then is said not to be in reach (own choice).
const SEARCH: Duration = Duration::from_secs(5);
/// A scale that is awake is connected in a second or two (common practice, no source); the system itself
/// would wait for a minute.
const CONNECT: Duration = Duration::from_secs(10);
/// While it is connected it is looked at this often (own choice: a service's list takes some hundred milliseconds).
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// A connection that stands for this long is told as up: as long as `fault` may take (chosen: one that
/// breaks at once is then never told as up).
const STAYS: Duration = Duration::from_secs(1);
/// At the end of the daemon the scale is let go, so that others find it; a stop may take two seconds in all.
const PARTING: Duration = Duration::from_millis(500);

/// Where the supervisor is, with what it holds there.
#[derive(Clone)]
enum State {
    Bus,
    Adapter(Arc<Way>),
    Scan(Arc<Way>, Adapter),
    Connect(Arc<Way>, Adapter, Peripheral),
    Listen(Arc<Way>, Adapter, Peripheral),
}

impl State {
    /// This state, or an earlier one with what is still of use there.
    fn back(self, to: Stage) -> Self {
        match (to, self) {
            (Stage::Bus, _) | (_, Self::Bus) => Self::Bus,
            (Stage::Adapter, Self::Adapter(m) | Self::Scan(m, _))
            | (Stage::Adapter, Self::Connect(m, ..) | Self::Listen(m, ..))
            | (_, Self::Adapter(m)) => Self::Adapter(m),
            (Stage::Scan, Self::Scan(m, a) | Self::Connect(m, a, _) | Self::Listen(m, a, _))
            | (_, Self::Scan(m, a)) => Self::Scan(m, a),
            (Stage::Connect, Self::Connect(m, a, d) | Self::Listen(m, a, d)) => Self::Connect(m, a, d),
        }
    }

    fn device(&self) -> Option<&Peripheral> {
        match self {
            Self::Bus | Self::Adapter(_) | Self::Scan(..) => None,
            Self::Connect(_, _, device) | Self::Listen(_, _, device) => Some(device),
        }
    }
}

/// Looks, connects and listens, and does so again, until `stop`; then lets the scale go.
pub async fn run(
    cfg: Ble,
    now: impl Fn() -> Instant + Clone + Send + 'static,
    tell: impl FnMut(LinkEvent) + Send,
    stop: impl Future<Output = ()> + Send,
) {
    super::ease_known_panics();
    let mut supervisor = Supervisor {
        scale: cfg.by.to_string(),
        known: None,
        opening: None,
        state: State::Bus,
        course: Course::default(),
        facts: Facts::default(),
        cfg,
        now,
        tell,
    };
    tokio::select! {
        () = supervisor.work() => {}
        () = stop => {}
    }
    if let Some(device) = supervisor.state.device() {
        let _ = timeout(PARTING, device.disconnect()).await;
    }
}

/// Ends when a scale that was connected is so no longer.
async fn cut(device: &Peripheral) {
    let mut was = false;
    loop {
        sleep(LOOK_EVERY).await;
        // What can't be asked is told by the try itself.
        match call("", device.is_connected()).await {
            Ok(true) => was = true,
            Ok(false) if was => return,
            Ok(false) | Err(_) => {}
        }
    }
}

struct Supervisor<N, T> {
    cfg: Ble,
    /// The scale, in words.
    scale: String,
    /// Its address, once a name or a service has led to one.
    known: Option<By>,
    opening: Option<Opening>,
    state: State,
    course: Course,
    facts: Facts,
    now: N,
    tell: T,
}

impl<N: Fn() -> Instant + Clone + Send + 'static, T: FnMut(LinkEvent) + Send> Supervisor<N, T> {
    async fn work(&mut self) {
        loop {
            let next = match self.state.clone() {
                State::Bus => self.bus().await,
                State::Adapter(way) => self.adapter(way).await,
                State::Scan(way, adapter) => self.scan(way, adapter).await,
                State::Connect(way, adapter, device) => self.connect(way, adapter, device).await,
                State::Listen(_, adapter, device) => Err(self.listen(&adapter, &device).await),
            };
            match next {
                Ok(state) => self.state = state,
                Err(trouble) => self.handle_trouble(&trouble).await,
            }
        }
    }

    async fn handle_trouble(&mut self, trouble: &BleError) {
        let turn = self.course.handle_trouble(trouble);
        tracing::debug!("Bluetooth: {trouble}; on with {:?} in {:?}", turn.stage, turn.pause);
        // Whether it is said again or not: what was known of it holds no longer.
        if std::mem::take(&mut self.facts) != Facts::default() {
            (self.tell)(LinkEvent::Facts(Facts::default()));
        }
        if turn.anew {
            self.known = None;
        }
        if turn.say {
            let try_this = trouble.try_this().to_owned();
            (self.tell)(LinkEvent::Down { reason: trouble.to_string(), try_this });
        }
        if let Some(device) = self.state.device().filter(|_| trouble.may_hold()) {
            let _ = call(&self.scale, device.disconnect()).await;
        }
        self.state = self.state.clone().back(turn.stage);
        sleep(turn.pause).await;
    }

    async fn bus(&mut self) -> Result<State, BleError> {
        way::open(&mut self.opening).await.map(State::Adapter)
    }

    async fn adapter(&mut self, way: Arc<Way>) -> Result<State, BleError> {
        let adapter = find::adapter(&way).await?;
        Ok(State::Scan(way, adapter))
    }

    async fn scan(&mut self, way: Arc<Way>, adapter: Adapter) -> Result<State, BleError> {
        let by = self.known.as_ref().unwrap_or(&self.cfg.by);
        let (found, device) = match find::search(&adapter, by, SEARCH).await {
            Ok(seen) => seen,
            // A scale may take a new address; and whoever set a name is told of the name.
            Err(BleError::NotFound { .. }) => {
                self.known = None;
                return Err(BleError::NotFound { scale: self.scale.clone() });
            }
            Err(error) => return Err(error),
        };
        self.known = Some(By::Address(found.address));
        Ok(State::Connect(way, adapter, device))
    }

    async fn connect(
        &mut self,
        way: Arc<Way>,
        adapter: Adapter,
        device: Peripheral,
    ) -> Result<State, BleError> {
        // Where the radio is off a connection would only hang.
        if !find::is_on(&adapter).await? {
            return Err(block::off());
        }
        // Left over from a daemon that was killed: what the system then knows of it may be half.
        if call(&self.scale, device.is_connected()).await? {
            call(&self.scale, device.disconnect()).await?;
        }
        // The library waits for the services too, and goes on waiting where the scale is cut off meanwhile.
        let made = tokio::select! {
            made = timeout(CONNECT, device.connect()) => made,
            () = cut(&device) => return Err(BleError::CutWhileLoading { scale: self.scale.clone() }),
        };
        match made {
            Ok(Ok(())) => Ok(State::Listen(way, adapter, device)),
            Ok(Err(error)) => Err(sort(&self.scale, &error)),
            Err(_) => Err(BleError::Hangs { scale: self.scale.clone() }),
        }
    }

    /// Listens until there is a trouble.
    async fn listen(&mut self, adapter: &Adapter, device: &Peripheral) -> BleError {
        let mut ears = match Ears::open(&self.cfg, adapter, device, self.now.clone()).await {
            Ok(ears) => ears,
            Err(trouble) => return trouble,
        };
        let from = tokio::time::Instant::now();
        let (mut last, mut up) = (None, false);
        loop {
            let patience = self.course.silence();
            let until = if up || !self.course.up_without_values() {
                last.unwrap_or(from) + patience
            } else {
                from + STAYS
            };
            match timeout_at(until, ears.heard.recv()).await {
                Ok(Some(Heard::Value(bytes, arrived_at))) => {
                    self.rise(&mut up);
                    let at = tokio::time::Instant::now();
                    self.course.handle_value(last.map(|before: tokio::time::Instant| at - before));
                    last = Some(at);
                    (self.tell)(LinkEvent::Bytes { bytes, arrived_at });
                }
                Ok(Some(Heard::Facts(facts))) => self.note(facts),
                // An answer that is late while values come is no trouble.
                Ok(Some(Heard::Lost(BleError::Mute)))
                    if last.is_some_and(|at| at.elapsed() < self.course.stands(STAYS)) => {}
                Ok(Some(Heard::Lost(trouble))) => return trouble,
                Ok(None) => return BleError::Dropped { scale: self.scale.clone() },
                Err(_) if !up && self.course.up_without_values() => self.rise(&mut up),
                Err(_) => return BleError::Silent { scale: self.scale.clone() },
            }
        }
    }

    fn rise(&mut self, up: &mut bool) {
        if !std::mem::replace(up, true) {
            self.course.handle_up();
            (self.tell)(LinkEvent::Up);
        }
    }

    fn note(&mut self, new: Facts) {
        let facts = Facts {
            signal_dbm: new.signal_dbm.or(self.facts.signal_dbm),
            battery_percent: new.battery_percent.or(self.facts.battery_percent),
            weight_feature: new.weight_feature.or(self.facts.weight_feature),
        };
        if std::mem::replace(&mut self.facts, facts) != facts {
            (self.tell)(LinkEvent::Facts(facts));
        }
    }
}
