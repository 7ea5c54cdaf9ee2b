//! The real binary on a pseudo-terminal, with its live stream and a simulated potter.

use rustix::process::{Pid, Resource, Rlimit, Signal, kill_process, prlimit};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};
use tarebell::plant::session::Potter;

/// The daemon as a child process and the far end of its serial line.
pub(crate) struct Rig {
    pub(crate) child: Child,
    pub(crate) line: File,
    pub(crate) address: String,
    said: PathBuf,
    epoch: Instant,
    /// The plant's clock runs from the first pour on, when a batch has begun, so that its pan is bare then.
    plant_from: Option<Instant>,
}

/// The binary, told to serve from this folder on a port of its own.
pub(crate) fn serve(dir: &Path) -> Command {
    serve_at(dir, "127.0.0.1:0")
}

/// As [`serve`], at an address that is known.
pub(crate) fn serve_at(dir: &Path, address: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
    command.args(["serve", "--no-sound", "--listen", address, "--data"]).arg(dir);
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command
}

/// A message of the live stream, with when it came.
pub(crate) struct Heard {
    pub(crate) at: Instant,
    pub(crate) message: serde_json::Value,
}

/// The scale's port, in a test's own folder.
pub(crate) const PORT: &str = "scale";

/// The near end of a new pseudo-terminal, whose far end stands as the scale's port in new settings in `dir`.
pub(crate) fn terminal(dir: &Path) -> File {
    let line =
        openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).expect("a pseudo-terminal");
    grantpt(&line).expect("grantpt");
    unlockpt(&line).expect("unlockpt");
    let port = ptsname(&line, Vec::new()).expect("ptsname").into_string().expect("a path in ASCII");
    // Numbers are given out again once a line is closed: by its own name no daemon that goes on looking for its
    // scale can take another test's.
    let name = dir.join(PORT);
    // A daemon started again in the same folder finds its new line under the same name.
    let _ = std::fs::remove_file(&name);
    std::os::unix::fs::symlink(port, &name).expect("a name for the port");
    let config = dir.join("tarebell.toml");
    let text = format!("[scale]\nlink = \"serial\"\nport = \"{}\"\n", name.display());
    std::fs::write(&config, text).expect("config");
    File::from(line)
}

/// How many pieces were told: each when it is weighed, and again at the lift.
pub(crate) fn pieces(shown: &[serde_json::Value]) -> usize {
    shown.iter().map(|p| p["id"].to_string()).collect::<std::collections::BTreeSet<_>>().len()
}

impl Rig {
    /// Starts the binary in `dir` on a new pseudo-terminal and waits until it serves.
    pub(crate) fn start(dir: &Path) -> Self {
        Self::start_with(dir, terminal(dir))
    }

    /// As [`Rig::start`], so that [`Rig::limit_files`] makes writes fail instead of ending the process.
    pub(crate) fn start_limitable(dir: &Path) -> Self {
        let plain = serve(dir);
        let mut command = Command::new("sh");
        command
            .args(["-c", "trap '' XFSZ; exec \"$@\"", "sh"])
            .arg(plain.get_program())
            .args(plain.get_args());
        command.stdin(Stdio::null()).stdout(Stdio::null());
        let line = terminal(dir);
        Self::start_as(command, dir, line)
    }

    /// From now on no file may grow beyond this size: with 0 no file takes a byte, as on a disk
    /// that is full. `None` lifts the limit.
    pub(crate) fn limit_files(&self, bytes: Option<u64>) {
        let pid = Pid::from_child(&self.child);
        let limit = Rlimit { current: bytes, maximum: None };
        prlimit(Some(pid), Resource::Fsize, limit).expect("a limit on our own child");
    }

    /// Starts the binary with the settings already in `dir`.
    pub(crate) fn start_with(dir: &Path, line: File) -> Self {
        Self::start_as(serve(dir), dir, line)
    }

    /// Starts it by this command; what it says goes to a file.
    pub(crate) fn start_as(mut command: Command, dir: &Path, line: File) -> Self {
        let said = dir.join("said.txt");
        let lock = dir.join("tarebell.lock");
        let _ = std::fs::remove_file(&lock);
        let child = command.stderr(File::create(&said).expect("a file")).spawn().expect("the binary starts");
        let epoch = Instant::now();
        let mut rig = Self { child, line, address: String::new(), said, epoch, plant_from: None };
        rig.address = rig.wait("an address in the lock file", || {
            let text = std::fs::read_to_string(&lock).ok()?;
            text.strip_suffix('\n').filter(|l| l.starts_with("127.")).map(|l| l.trim().to_owned())
        });
        let address = rig.address.clone();
        rig.wait("the page", || ureq::get(format!("http://{address}/api/now")).call().ok().map(|_| ()));
        rig
    }

    fn wait<T>(&self, what: &str, mut look: impl FnMut() -> Option<T>) -> T {
        // The bench's start-up is well under a second; a busy machine gets twenty.
        while self.epoch.elapsed() < Duration::from_secs(20) {
            if let Some(found) = look() {
                return found;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        panic!("{what} did not come within 20 s of the start");
    }

    /// Has the potter work until the daemon is in this phase.
    pub(crate) fn pour_until(&mut self, phase: &str, potter: &mut Potter, heard: &Receiver<Heard>) {
        let end = Instant::now() + Duration::from_secs(20);
        while self.get("/api/now")["phase"] != phase {
            assert!(Instant::now() < end, "never {phase}: {}", self.get("/api/now"));
            self.pour(potter, heard, Instant::now() + Duration::from_millis(50));
        }
    }

    /// Waits until the snapshot is as wanted, and gives it.
    pub(crate) fn until(&self, what: &str, wanted: impl Fn(&serde_json::Value) -> bool) -> serde_json::Value {
        let from = Instant::now();
        loop {
            let now = self.get("/api/now");
            if wanted(&now) {
                return now;
            }
            // The slowest that is waited for, a call that hangs, is given up after 12 s: five times that.
            assert!(from.elapsed() < Duration::from_secs(60), "{what}: {now}\n{}", self.said());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Pulls the scale's cable out: its port is there no more.
    pub(crate) fn unplug(&mut self) {
        std::fs::remove_file(self.said.with_file_name(PORT)).expect("the port's name");
        self.line = File::open("/dev/null").expect("a file");
    }

    /// Sends the weights of a curve at ten readings a second.
    pub(crate) fn send(&mut self, seconds: f64, grams: impl Fn(f64) -> f64) {
        let steps = (seconds * 10.0).round() as u32;
        for i in 0..steps {
            // The last digit of a live display moves; one that stands still under slop is a fault.
            let live = if i % 3 == 1 { 0.1 } else { 0.0 };
            let line = format!("{:.1} g\r\n", grams(f64::from(i) / 10.0) + live);
            self.line.write_all(line.as_bytes()).expect("the line");
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// What it said on its error stream so far.
    pub(crate) fn said(&self) -> String {
        std::fs::read_to_string(&self.said).expect("its words")
    }

    /// Sends a signal; gives the exit code, and how long the end took.
    pub(crate) fn stop(&mut self, signal: Signal) -> (Option<i32>, Duration) {
        let asked = Instant::now();
        kill_process(Pid::from_child(&self.child), signal).expect("a signal");
        let status = self.child.wait().expect("it ends");
        (status.code(), asked.elapsed())
    }

    /// Posts, and gives the status with the reply, whatever they are.
    pub(crate) fn try_post(&self, path: &str, body: serde_json::Value) -> (u16, serde_json::Value) {
        let ask = ureq::post(format!("http://{}{path}", self.address));
        let mut reply = ask.config().http_status_as_error(false).build().send_json(body).expect(path);
        (reply.status().as_u16(), reply.body_mut().read_json().expect("JSON"))
    }

    pub(crate) fn get(&self, path: &str) -> serde_json::Value {
        let mut reply = ureq::get(format!("http://{}{path}", self.address)).call().expect(path);
        reply.body_mut().read_json().expect("JSON")
    }

    pub(crate) fn post(&self, path: &str, body: serde_json::Value) -> serde_json::Value {
        let mut reply = ureq::post(format!("http://{}{path}", self.address)).send_json(body).expect(path);
        reply.body_mut().read_json().expect("JSON")
    }

    /// Makes and begins a batch of invented cups at 29 g of slop each, 5 percent either way.
    pub(crate) fn begin_batch(&self, pieces: u32) -> String {
        let batch = self.post(
            "/api/batches",
            serde_json::json!({
                "name": "invented cups", "pieces": pieces,
                "coat": { "by": "direct", "slop_g": 29.0 }, "tolerance": { "percent": 5.0 }
            }),
        );
        let id = batch["id"].as_str().expect("an id").to_owned();
        // What is sent before the port is open is never read: the pan would not be seen bare.
        self.until("the scale's port is open", |now| now["scale"]["state"] != "searching");
        self.post(&format!("/api/batches/{id}/begin"), serde_json::json!({}));
        id
    }

    /// The pours of a batch as the log has them, once each has its weight: what is shown as weighed is on disk a
    /// moment later.
    pub(crate) fn weighed(&self, batch: &str) -> serde_json::Value {
        let pours = || self.get(&format!("/api/batches/{batch}/pours"));
        let all =
            |p: &serde_json::Value| p.as_array().is_some_and(|p| p.iter().all(|p| p["net_g"].is_number()));
        self.until("weights on disk", |_| all(&pours()));
        pours()
    }

    /// Listens to the live stream from now on.
    pub(crate) fn listen(&self) -> Receiver<Heard> {
        let (mut socket, _) = tungstenite::connect(format!("ws://{}/api/live", self.address)).expect("live");
        let (tell, heard) = channel();
        std::thread::spawn(move || {
            while let Ok(message) = socket.read() {
                let at = Instant::now();
                let Ok(text) = message.into_text() else { continue };
                let Ok(message) = serde_json::from_str(text.as_str()) else { continue };
                if tell.send(Heard { at, message }).is_err() {
                    return;
                }
            }
        });
        heard
    }

    /// Lets the potter pour, hearing the cues of the stream, until done or `until`.
    /// Gives every pour the stream showed.
    pub(crate) fn pour(
        &mut self,
        potter: &mut Potter,
        heard: &Receiver<Heard>,
        until: Instant,
    ) -> Vec<serde_json::Value> {
        let mut shown = Vec::new();
        self.plant_from.get_or_insert_with(Instant::now);
        while !potter.done() && Instant::now() < until {
            while let Ok(h) = heard.try_recv() {
                match h.message["kind"].as_str() {
                    Some("cue") => {
                        let us = |key: &str| h.message[key].as_u64().expect(key);
                        let due = h.at + Duration::from_micros(us("due_us") - us("at_us"));
                        potter.handle_cue(h.message["cue"].as_str().expect("cue"), self.plant_time(due));
                    }
                    Some("pour") => shown.push(h.message),
                    _ => {}
                }
            }
            let now = self.plant_time(Instant::now());
            for reading in potter.advance(now) {
                // A closed line is the child's end; the test sees that elsewhere.
                let _ = self.line.write_all(format!("{:.1} g\r\n", reading.mass_g).as_bytes());
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        if !potter.done() {
            return shown;
        }
        // The last weight may still be on its way to the disk.
        let settle = Instant::now() + Duration::from_millis(300);
        while let Ok(h) = heard.recv_timeout(settle.saturating_duration_since(Instant::now())) {
            if h.message["kind"] == "pour" {
                shown.push(h.message);
            }
        }
        shown
    }

    fn plant_time(&self, at: Instant) -> tarebell::time::Instant {
        let us = at.saturating_duration_since(self.plant_from.unwrap_or(self.epoch)).as_micros();
        tarebell::time::Instant::from_us(u64::try_from(us).expect("a short test"))
    }
}

impl Drop for Rig {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
