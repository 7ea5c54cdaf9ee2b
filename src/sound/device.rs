//! One open output of the sound system: finding it, opening it, feeding it.
//!
//! The audio thread never waits: it takes what lies in its channel, fills, counts. How late a sample
//! will be heard is what the sound system says in each call: the frames still before it.

use super::score::{Placed, Score};
use super::tone::{Voice, samples};
use super::{Find, Playing, SoundError};
use crate::pour::entry::Cue;
use crate::settings::Sound;
use crate::time::{Duration, Instant};
use cpal::traits::{DeviceTrait as _, HostTrait as _, StreamTrait as _};
use cpal::{
    BufferSize, Device, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig, SupportedStreamConfig,
};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// Frames in one call, the first that the device takes: at 48 000 a second 512 are 11 ms, and two of them are
/// under way. `None` is the device's own wish.
const PERIODS: [Option<u32>; 3] = [Some(512), Some(1024), None];
/// Cues that may lie before the audio thread.
const CUES: usize = 16;
/// A device that ran this long is well again.
const WELL_S: u64 = 10;

/// An output that plays silence and cues until it is dropped. Dropping it may wait for the device.
pub(super) struct Stream {
    device: String,
    rate_hz: u32,
    /// Two calls' length.
    buffer: Duration,
    cues: SyncSender<Placed>,
    tones: Vec<(Cue, Arc<[f32]>)>,
    signs: Signs,
    _open: cpal::Stream,
}

/// What the audio thread shows.
#[derive(Clone, Default)]
struct Signs {
    taken: Arc<AtomicU64>,
    measured_us: Arc<AtomicU64>,
    broken: Arc<AtomicBool>,
}

impl Playing for Stream {
    fn device(&self) -> &str {
        &self.device
    }

    /// With sixteen before it nothing is taken anyway.
    fn play(&self, cue: Cue, due: Instant) {
        if let Some((_, samples)) = self.tones.iter().find(|(c, _)| *c == cue) {
            let _ = self.cues.try_send(Placed { cue, due, samples: samples.clone() });
        }
    }

    fn taken(&self) -> u64 {
        self.signs.taken.load(Ordering::Relaxed)
    }

    fn well_after(&self) -> u64 {
        WELL_S * u64::from(self.rate_hz)
    }

    fn broken(&self) -> bool {
        self.signs.broken.load(Ordering::Relaxed)
    }

    /// As measured, and never less than the buffer's two calls: some systems count nothing of it.
    fn latency(&self) -> Duration {
        self.measured().max(self.buffer)
    }
}

impl Stream {
    /// The most so far of what lies before a new sample, as the system counts it, and one call's length of waiting.
    pub(super) fn measured(&self) -> Duration {
        Duration::from_micros(self.signs.measured_us.load(Ordering::Relaxed))
    }
}

/// The sound system: the output whose name has the set letters in it, or the usual one.
#[derive(Clone)]
pub(super) struct System<N> {
    pub(super) sound: Sound,
    pub(super) now: N,
}

impl<N: Fn() -> Instant + Clone + Send + 'static> Find for System<N> {
    type Stream = Stream;

    /// Opened for some milliseconds, and nothing is played.
    fn look(&self) -> Result<String, SoundError> {
        let _ours = quiet();
        there(&self.sound).map(|(_, name, _)| name)
    }

    fn open(&self) -> Result<Stream, SoundError> {
        let _ours = quiet();
        let (device, name, usual) = there(&self.sound)?;
        let mut refused = SoundError::None;
        for period in PERIODS {
            let buffer_size = period.map_or(BufferSize::Default, BufferSize::Fixed);
            let config = StreamConfig { buffer_size, ..usual.config() };
            let feed = Feed::new(config, self.now.clone());
            match feed.open(&device, usual.sample_format(), &name, &self.sound) {
                Ok(stream) => return Ok(stream),
                Err(error) => refused = error,
            }
        }
        Err(refused)
    }
}

/// The ALSA library writes lines of its own to the error stream at each try; ours are enough.
#[cfg(target_os = "linux")]
fn quiet() -> impl Sized {
    alsa::Output::local_error_handler()
}

/// Elsewhere nothing is written.
#[cfg(not(target_os = "linux"))]
fn quiet() -> impl Sized {}

/// The device, its name and its usual format: asking for that opens it.
fn there(sound: &Sound) -> Result<(Device, String, SupportedStreamConfig), SoundError> {
    let device = find(sound.device.as_deref())?;
    let name = device.description().map_or_else(|_| "unnamed".to_owned(), |d| d.name().to_owned());
    let usual = device.default_output_config().map_err(|error| sort(&error, &name))?;
    Ok((device, name, usual))
}

fn find(wanted: Option<&str>) -> Result<Device, SoundError> {
    let host = cpal::default_host();
    let Some(wanted) = wanted else { return host.default_output_device().ok_or(SoundError::None) };
    let lower = wanted.to_lowercase();
    let mut names = Vec::new();
    for device in host.output_devices().map_err(|_| SoundError::None)? {
        let id = device.id().map(|id| id.id().to_owned()).unwrap_or_default();
        let name = device.description().map(|d| d.name().to_owned()).unwrap_or_default();
        if id.to_lowercase().contains(&lower) || name.to_lowercase().contains(&lower) {
            return Ok(device);
        }
        names.push(id);
    }
    if names.is_empty() {
        return Err(SoundError::None);
    }
    Err(SoundError::NotNamed { wanted: wanted.to_owned(), found: names.join(", ") })
}

#[expect(clippy::wildcard_enum_match_arm, reason = "not our enum, and it may grow; its own words are kept")]
fn sort(error: &cpal::Error, device: &str) -> SoundError {
    let device = device.to_owned();
    match error.kind() {
        ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable => SoundError::None,
        ErrorKind::DeviceBusy => SoundError::Busy { device },
        ErrorKind::PermissionDenied => SoundError::Permission { device },
        _ => SoundError::Refused { device, why: error.to_string() },
    }
}

/// The audio thread's part.
struct Feed<N> {
    config: StreamConfig,
    now: N,
    cues: SyncSender<Placed>,
    inbox: Receiver<Placed>,
    signs: Signs,
}

impl<N: Fn() -> Instant + Send + 'static> Feed<N> {
    fn new(config: StreamConfig, now: N) -> Self {
        let (cues, inbox) = sync_channel(CUES);
        Self { config, now, cues, inbox, signs: Signs::default() }
    }

    fn open(
        self,
        device: &Device,
        format: SampleFormat,
        name: &str,
        sound: &Sound,
    ) -> Result<Stream, SoundError> {
        let (rate_hz, cues, signs) = (self.config.sample_rate, self.cues.clone(), self.signs.clone());
        let open = self.start_as(format, device).map_err(|error| sort(&error, name))?;
        open.play().map_err(|error| sort(&error, name))?;
        let frames = open.buffer_size().unwrap_or(1024);
        let buffer = Duration::from_micros(us(2 * u64::from(frames), rate_hz));
        let voice = Voice::from(sound);
        let tones = Cue::ALL.map(|cue| (cue, samples(cue, rate_hz, &voice).into())).to_vec();
        Ok(Stream { device: name.to_owned(), rate_hz, buffer, cues, tones, signs, _open: open })
    }

    #[expect(clippy::wildcard_enum_match_arm, reason = "not our enum; what no card has is refused")]
    fn start_as(self, format: SampleFormat, device: &Device) -> Result<cpal::Stream, cpal::Error> {
        match format {
            SampleFormat::F32 => self.start::<f32>(device),
            SampleFormat::I16 => self.start::<i16>(device),
            SampleFormat::I32 => self.start::<i32>(device),
            SampleFormat::U8 => self.start::<u8>(device),
            _ => Err(ErrorKind::UnsupportedConfig.into()),
        }
    }

    fn start<S: SizedSample + FromSample<f32>>(self, device: &Device) -> Result<cpal::Stream, cpal::Error> {
        let Self { config, now, inbox, signs, .. } = self;
        let (channels, rate_hz) = (usize::from(config.channels.max(1)), config.sample_rate);
        let mut score = Score::new(rate_hz);
        let mut one = Vec::new();
        let broken = signs.broken.clone();
        let fill = move |out: &mut [S], info: &cpal::OutputCallbackInfo| {
            while let Ok(placed) = inbox.try_recv() {
                score.handle_cue(placed);
            }
            let times = info.timestamp();
            let before = times.playback.saturating_duration_since(times.callback);
            // Grows once, in the first call.
            one.resize(out.len() / channels, 0.0);
            score.fill(&mut one, now() + before);
            for (frame, sample) in out.chunks_mut(channels).zip(&one) {
                frame.fill(S::from_sample(*sample));
            }
            let frames = one.len() as u64;
            let latency_us = u64::try_from(before.as_micros()).unwrap_or(0) + us(frames, rate_hz);
            signs.measured_us.fetch_max(latency_us, Ordering::Relaxed);
            signs.taken.fetch_add(frames, Ordering::Relaxed);
        };
        let fail = move |error: cpal::Error| {
            // A gap, another loudspeaker or a thread of usual rank: it goes on by itself.
            let goes_on = [ErrorKind::Xrun, ErrorKind::DeviceChanged, ErrorKind::RealtimeDenied];
            if !goes_on.contains(&error.kind()) {
                // May come thousands of times a second: only a flag.
                broken.store(true, Ordering::Relaxed);
            }
        };
        device.build_output_stream(config, fill, fail, None)
    }
}

fn us(frames: u64, rate_hz: u32) -> u64 {
    frames * 1_000_000 / u64::from(rate_hz.max(1))
}
