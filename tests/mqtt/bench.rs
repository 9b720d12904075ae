//! A bench without instruments: a real journal, a snapshot that can be changed, and the MQTT output on them.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use benchscribe::clock::Clock;
use benchscribe::config::order_file::read_order;
use benchscribe::journal::store::Journal;
use benchscribe::output::command::CommandRequest;
use benchscribe::output::mqtt::{self, MqttSettings, Sources};
use benchscribe::output::record::record;
use benchscribe::output::text::Lengths;
use benchscribe::output::view::{InstrumentView, LevelView, ReadingView, Snapshot};
use benchscribe::output::work_view::work;
use benchscribe::work_order::event::{Change, Numbering};
use benchscribe::work_order::order::Order;
use benchscribe::work_order::state::State;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

pub(crate) const ROOT: &str = "benchscribe/v1/shop/b1/";
pub(crate) const EPOCH: u64 = 7;

pub(crate) struct Bench {
    pub(crate) journal: Journal,
    numbering: Numbering,
    pub(crate) clock: Clock,
    state: Arc<Mutex<State>>,
    pub(crate) snapshots: watch::Sender<Arc<Snapshot>>,
    commands_in: mpsc::Sender<CommandRequest>,
    pub(crate) commands: mpsc::Receiver<CommandRequest>,
    pub(crate) trouble: watch::Sender<Option<String>>,
    _folder: tempfile::TempDir,
}

/// The output while it runs.
pub(crate) struct Running {
    pub(crate) task: JoinHandle<()>,
    pub(crate) stop: CancellationToken,
}

impl Running {
    pub(crate) async fn end(self) {
        self.stop.cancel();
        self.task.await.unwrap();
    }

    /// Ends it as a crash would: the connection just goes.
    pub(crate) async fn abort(self) {
        self.task.abort();
        assert!(self.task.await.unwrap_err().is_cancelled());
    }
}

impl Bench {
    pub(crate) async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let journal = Journal::open(folder.path(), "b1", EPOCH).await.unwrap();
        let (commands_in, commands) = mpsc::channel(4);
        Self {
            journal,
            numbering: Numbering::after(EPOCH, 0),
            clock: Clock::start(1.0),
            state: Arc::default(),
            snapshots: watch::Sender::default(),
            commands_in,
            commands,
            trouble: watch::Sender::new(Some("not tried yet".into())),
            _folder: folder,
        }
    }

    pub(crate) async fn append(&mut self, changes: Vec<Change>) {
        let stamp = self.clock.now();
        let events: Vec<_> = changes.into_iter().map(|change| self.numbering.event(stamp, None, change)).collect();
        // As at a real bench, no record is older than the journal: there one task stores, applies and answers.
        let view = {
            let mut state = self.state.lock().unwrap();
            events.iter().for_each(|event| state.apply(event));
            Arc::new(work(&state, Lengths::Inches, stamp.at_us))
        };
        self.journal.append(&events, &[]).await.unwrap();
        self.snapshots.send_modify(|snapshot| Arc::make_mut(snapshot).work = view);
    }

    /// Appends events that mean nothing in particular.
    pub(crate) async fn append_some(&mut self, count: u64) {
        let change = |n| Change::OperatorChanged { operator: Some(format!("K{n}")) };
        self.append((0..count).map(change).collect()).await;
    }

    /// Shows instruments.
    pub(crate) fn show(&self, instruments: Vec<InstrumentView>) {
        let stamp = self.clock.now();
        self.snapshots.send_modify(|snapshot| {
            let snapshot = Arc::make_mut(snapshot);
            snapshot.stamp = stamp;
            snapshot.instruments = instruments.into_iter().map(Arc::new).collect();
        });
    }

    pub(crate) fn publish_to(&self, port: u16) -> Running {
        let settings = MqttSettings {
            host: "127.0.0.1".into(),
            port,
            site: "shop".into(),
            bench: "b1".into(),
            session: "session-1".into(),
            version: "0.1.0".into(),
            commands: true,
        };
        let state = Arc::clone(&self.state);
        let sources = Sources {
            snapshots: self.snapshots.subscribe(),
            journal: self.journal.reader(),
            records: Arc::new(move |club| {
                let state = state.lock().unwrap();
                let found = state.clubs.get(club).map(|club| {
                    let record = record(club, "chain".into(), Lengths::Inches);
                    (club.spec.token.clone(), serde_json::to_value(record).unwrap())
                });
                Box::pin(async move { found })
            }),
            commands: self.commands_in.clone(),
        };
        let stop = CancellationToken::new();
        let task = tokio::spawn(mqtt::run(settings, sources, self.clock, self.trouble.clone(), stop.clone()));
        Running { task, stop }
    }

    /// Waits until the bench says that the broker is there, or away.
    pub(crate) async fn wait_connected(&self, connected: bool) {
        let mut trouble = self.trouble.subscribe();
        let reached = trouble.wait_for(|words| words.is_none() == connected);
        tokio::time::timeout(Duration::from_secs(20), reached).await.expect("connection state").unwrap();
    }
}

pub(crate) fn order() -> Order {
    let text = "order = \"W-1042\"\n[[club]]\nname = \"driver\"\nkind = \"driver\"\nhead_mass = \"203 g ± 2 g\"\n\
                [[club]]\nname = \"7-iron\"\nkind = \"iron\"\n";
    read_order("w1042.toml", text).unwrap()
}

pub(crate) fn scale(value: f64) -> InstrumentView {
    InstrumentView {
        intake: None,
        id: "parts-scale".into(),
        name: "Parts scale".into(),
        kind: "scale",
        connected: true,
        error: None,
        format: "plain-value-unit".into(),
        refused: 0,
        refused_by_reason: std::collections::BTreeMap::new(),
        heard_s: None,
        on_key: false,
        phase: "settling",
        progress: Some(0.5),
        message: None,
        readings: vec![ReadingView { value, text: format!("{value} g"), unit: "g", ..ReadingView::default() }],
        calibration_due: None,
        awaiting: None,
        study: None,
        level: LevelView::default(),
    }
}
