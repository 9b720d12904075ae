//! The programs the output is held against: the mosquitto broker and its command-line clients, which share no code
//! with the daemon.

use std::io::{BufRead as _, BufReader};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU16, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use serde_json::Value;

/// Waits until `condition` gives something; says `what` did not happen otherwise.
#[track_caller]
pub(crate) fn wait_for<T>(what: &str, within: Duration, mut condition: impl FnMut() -> Option<T>) -> T {
    let began = Instant::now();
    loop {
        if let Some(found) = condition() {
            return found;
        }
        assert!(began.elapsed() < within, "within {within:?} not seen: {what}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

fn program(name: &str) -> Command {
    // Debian puts the broker where only root's path looks.
    let paths = [format!("/usr/sbin/{name}"), format!("/usr/bin/{name}"), name.to_owned()];
    let found = paths.iter().find(|path| std::path::Path::new(path).exists()).unwrap_or(&paths[2]);
    Command::new(found)
}

fn start(command: &mut Command) -> Child {
    command.spawn().unwrap_or_else(|error| {
        panic!(
            "{:?} does not start ({error}); install the packages mosquitto and mosquitto-clients",
            command.get_program()
        )
    })
}

/// A port that nothing else takes while the broker is down: below the range from which the system deals them out,
/// and another one for each test.
fn free_port() -> u16 {
    static NEXT: AtomicU16 = AtomicU16::new(0);
    let first = 20_000 + u16::try_from(std::process::id() % 1_000).unwrap() * 10;
    (0..200)
        .map(|_| first + NEXT.fetch_add(1, Ordering::Relaxed))
        .find(|port| TcpListener::bind(("127.0.0.1", *port)).is_ok())
        .expect("a free port")
}

/// A broker on loopback that keeps nothing on disk.
pub(crate) struct Mosquitto {
    pub(crate) port: u16,
    folder: tempfile::TempDir,
    process: Option<Child>,
}

impl Mosquitto {
    pub(crate) fn start() -> Self {
        let port = free_port();
        let folder = tempfile::tempdir().unwrap();
        let mut broker = Self { port, folder, process: None };
        broker.restart();
        broker
    }

    /// Starts it again on the same port after [`Mosquitto::kill`].
    pub(crate) fn restart(&mut self) {
        let file = self.folder.path().join("mosquitto.conf");
        let text = format!(
            "listener {} 127.0.0.1\nallow_anonymous true\npersistence false\nset_tcp_nodelay true\nlog_type error\n",
            self.port
        );
        std::fs::write(&file, text).unwrap();
        self.process = Some(start(program("mosquitto").arg("-c").arg(&file).stderr(Stdio::null())));
        let port = self.port;
        wait_for("the broker listens", Duration::from_secs(10), || TcpStream::connect(("127.0.0.1", port)).ok());
    }

    /// Kills it without any warning (SIGKILL).
    pub(crate) fn kill(&mut self) {
        if let Some(mut process) = self.process.take() {
            process.kill().unwrap();
            process.wait().unwrap();
        }
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        self.kill();
    }
}

/// A message as a subscriber saw it.
#[derive(Debug, Clone)]
pub(crate) struct Seen {
    pub(crate) at: Instant,
    pub(crate) qos: u8,
    pub(crate) retained: bool,
    pub(crate) content_type: String,
    pub(crate) expiry_s: String,
    pub(crate) correlation: String,
    pub(crate) topic: String,
    pub(crate) payload: String,
}

impl Seen {
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.payload)
            .unwrap_or_else(|error| panic!("{}: {error}: {:?}", self.topic, self.payload))
    }
}

/// A running `mosquitto_sub`.
pub(crate) struct Subscriber {
    process: Child,
    seen: Arc<Mutex<Vec<Seen>>>,
}

impl Subscriber {
    /// Subscribes with MQTT 5 and returns once the broker has confirmed it.
    pub(crate) fn start(port: u16, filter: &str) -> Self {
        Self::with(port, filter, "5", &[])
    }

    /// The same with another version of the protocol (`5` or `311`) and further arguments.
    pub(crate) fn with(port: u16, filter: &str, version: &str, further: &[&str]) -> Self {
        let format = if version == "5" { "=%q\t%r\t%C\t%E\t%D\t%t\t%p" } else { "=%q\t%r\t\t\t\t%t\t%p" };
        // Into a pipe it would keep its lines until there are many.
        let mut command = program("stdbuf");
        command.args(["-oL", "mosquitto_sub"]).args([
            "-h",
            "127.0.0.1",
            "-p",
            &port.to_string(),
            "-V",
            version,
            "-q",
            "1",
            "-d",
        ]);
        command.args(["-t", filter, "-F", format]).args(further);
        let mut process = start(command.stdout(Stdio::piped()).stderr(Stdio::null()));
        let lines = BufReader::new(process.stdout.take().unwrap()).lines();
        let (seen, subscribed) = (Arc::new(Mutex::new(Vec::new())), Arc::new(Mutex::new(false)));
        let (sink, confirmed) = (Arc::clone(&seen), Arc::clone(&subscribed));
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                match line.strip_prefix('=') {
                    Some(message) => sink.lock().unwrap().extend(read(message)),
                    None if line.starts_with("Subscribed") => *confirmed.lock().unwrap() = true,
                    None => {}
                }
            }
        });
        // Made first: if the wait fails, the process still ends with it.
        let subscriber = Self { process, seen };
        wait_for("the subscription", Duration::from_secs(10), || (*subscribed.lock().unwrap()).then_some(()));
        subscriber
    }

    /// Everything so far, in order.
    pub(crate) fn all(&self) -> Vec<Seen> {
        self.seen.lock().unwrap().clone()
    }

    /// Everything so far on topics with this ending.
    pub(crate) fn on(&self, ending: &str) -> Vec<Seen> {
        self.all().into_iter().filter(|message| message.topic.ends_with(ending)).collect()
    }

    /// Waits for a message on a topic with this ending.
    #[track_caller]
    pub(crate) fn wait(&self, ending: &str, within: Duration, mut wanted: impl FnMut(&Seen) -> bool) -> Seen {
        wait_for(ending, within, || self.on(ending).into_iter().find(|message| wanted(message)))
    }

    /// Ends it without a word to the broker.
    #[cfg(feature = "embedded-broker")]
    pub(crate) fn kill(&mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }
}

impl Drop for Subscriber {
    fn drop(&mut self) {
        self.process.kill().and_then(|()| self.process.wait()).ok();
    }
}

fn read(line: &str) -> Option<Seen> {
    let mut fields = line.splitn(7, '\t').map(str::to_owned);
    let mut next = || fields.next();
    Some(Seen {
        at: Instant::now(),
        qos: next()?.parse().ok()?,
        retained: next()? == "1",
        content_type: next()?,
        expiry_s: next()?,
        correlation: next()?,
        topic: next()?,
        payload: next()?,
    })
}

/// Publishes one message with `mosquitto_pub` and waits until it is out.
pub(crate) fn publish(port: u16, topic: &str, payload: &str, further: &[&str]) {
    let mut command = program("mosquitto_pub");
    command.args(["-h", "127.0.0.1", "-p", &port.to_string(), "-V", "5", "-q", "1", "-t", topic, "-m", payload]);
    assert!(start(command.args(further)).wait().unwrap().success(), "mosquitto_pub failed");
}
