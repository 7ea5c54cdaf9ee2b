//! Stands in for a loudspeaker: a sound system whose only output writes into a named pipe, which is read
//! at the pace of a real one. What was read at which moment is kept.

use rustix::fs::{CWD, FileType, Mode, OFlags, mknodat};
use std::io::Read as _;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// What the sink is set to: stereo, 16 bits.
const RATE: f64 = 48_000.0;
const FRAME: usize = 4;
/// The pipe holds this much besides the sound system's own buffer; the smallest that Linux gives.
const PIPE: usize = 4096;
/// Read at a time: 5 ms.
const CHUNK: usize = 960;

/// A piece of sound and when its first sample is heard.
pub(crate) struct Piece {
    pub(crate) at: Instant,
    pub(crate) samples: Vec<f32>,
}

/// The reader of the pipe.
pub(crate) struct Ear {
    pub(crate) config: PathBuf,
    heard: Arc<Mutex<Vec<Piece>>>,
    stop: Arc<AtomicBool>,
    deaf: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

/// A sound system of this one sink; without a reader whoever opens it hangs.
pub(crate) fn sink(dir: &Path) -> (PathBuf, PathBuf) {
    let (pipe, config) = (dir.join("pipe"), dir.join("asound.conf"));
    mknodat(CWD, &pipe, FileType::Fifo, Mode::RUSR | Mode::WUSR, 0).expect("a named pipe");
    let text = format!(
        "pcm.!default {{ type plug slave {{ pcm sink format S16_LE rate 48000 channels 2 }} }}\n\
         pcm.sink {{ type file slave.pcm nothing file \"{}\" format raw }}\n\
         pcm.nothing {{ type null }}\n",
        pipe.display()
    );
    std::fs::write(&config, text).expect("a file");
    (pipe, config)
}

/// As [`sink`], without what converts formats: that library ends the whole process when its file fails.
pub(crate) fn bare_sink(dir: &Path) -> (PathBuf, PathBuf) {
    let (pipe, config) = sink(dir);
    let text = format!(
        "pcm.!default {{ type file slave.pcm nothing file \"{}\" format raw }}\npcm.nothing {{ type null }}\n",
        pipe.display()
    );
    std::fs::write(&config, text).expect("a file");
    (pipe, config)
}

impl Ear {
    /// Opens the pipe and listens until dropped.
    pub(crate) fn open(dir: &Path) -> Self {
        let (pipe, config) = sink(dir);
        Self::open_pipe(&pipe, config)
    }

    /// Listens to this pipe until dropped.
    pub(crate) fn open_pipe(pipe: &Path, config: PathBuf) -> Self {
        let flags = OFlags::NONBLOCK.bits() as i32;
        let mut file =
            std::fs::OpenOptions::new().read(true).custom_flags(flags).open(pipe).expect("the pipe");
        // Whoever waited for a listener may have filled it already: what came before the ear was there is let go.
        while let Err(busy) = rustix::pipe::fcntl_setpipe_size(&file, PIPE) {
            assert_eq!(busy, rustix::io::Errno::BUSY, "a small pipe");
            let _ = file.read(&mut [0; CHUNK]);
        }
        let (heard, stop, deaf) = (Arc::default(), Arc::default(), Arc::default());
        let thread = {
            let (heard, stop, deaf) = (Arc::clone(&heard), Arc::clone(&stop), Arc::clone(&deaf));
            std::thread::spawn(move || listen(file, &heard, &stop, &deaf))
        };
        Self { config, heard, stop, deaf, thread: Some(thread) }
    }

    /// The sound of the time from `from` on, and when its first sample was heard; gaps are left out.
    pub(crate) fn since(&self, from: Instant, length: Duration) -> Piece {
        let heard = self.heard.lock().expect("the reader lives");
        let mut samples = Vec::new();
        let mut first = None;
        for piece in heard.iter().filter(|p| p.at >= from && p.at < from + length) {
            first.get_or_insert(piece.at);
            samples.extend(&piece.samples);
        }
        Piece { at: first.unwrap_or(from), samples }
    }

    /// Takes nothing more, like a device that hangs, or takes it again.
    pub(crate) fn deafen(&self, deaf: bool) {
        self.deaf.store(deaf, Ordering::Relaxed);
    }

    /// How much was heard so far.
    pub(crate) fn pieces(&self) -> usize {
        self.heard.lock().expect("the reader lives").len()
    }
}

impl Drop for Ear {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn listen(mut pipe: std::fs::File, heard: &Mutex<Vec<Piece>>, stop: &AtomicBool, deaf: &AtomicBool) {
    // When the next byte would leave a real loudspeaker.
    let mut next: Option<Instant> = None;
    let (mut chunk, mut left) = ([0_u8; CHUNK], Vec::new());
    while !stop.load(Ordering::Relaxed) {
        if deaf.load(Ordering::Relaxed) {
            std::thread::sleep(Duration::from_millis(5));
            continue;
        }
        let now = Instant::now();
        if let Some(wait) = next.map(|at| at.saturating_duration_since(now)).filter(|w| !w.is_zero()) {
            std::thread::sleep(wait);
        }
        let n = match pipe.read(&mut chunk) {
            Ok(n) if n > 0 => n,
            // Nobody writes, or not yet.
            Ok(_) | Err(_) => {
                std::thread::sleep(Duration::from_millis(1));
                continue;
            }
        };
        let now = Instant::now();
        // A loudspeaker that had nothing begins anew.
        let at =
            next.filter(|at| now.saturating_duration_since(*at) < Duration::from_millis(50)).unwrap_or(now);
        next = Some(at + Duration::from_secs_f64((n / FRAME) as f64 / RATE));
        left.extend_from_slice(&chunk[..n]);
        let whole = left.len() / FRAME * FRAME;
        let left_channel = |f: &[u8]| f32::from(i16::from_le_bytes([f[0], f[1]])) / 32_768.0;
        let samples = left[..whole].chunks(FRAME).map(left_channel).collect();
        left.drain(..whole);
        heard.lock().expect("the test lives").push(Piece { at, samples });
    }
}
