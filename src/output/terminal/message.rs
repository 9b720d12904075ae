//! What the terminal takes from the daemon's live stream: the fields it draws, and no more. What is missing or unknown is left
//! empty, so a newer daemon can be watched.

use serde::{Deserialize, Deserializer};

/// The message `state`: the whole state.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default)]
pub struct State {
    /// The place.
    pub site: String,
    /// The bench.
    pub bench: String,
    /// Time of the daemon, RFC 3339.
    pub now: String,
    /// Sequence of the last stored event.
    pub seq: u64,
    /// Counts up with every look of the daemon at its bench.
    pub beat: u64,
    /// Who is at the bench.
    pub operator: Option<String>,
    /// What is wrong, with the remedy.
    pub banners: Vec<Banner>,
    /// The instruments.
    pub instruments: Vec<Instrument>,
    /// Working life and cures that run.
    pub timers: Vec<Timer>,
    /// The open order.
    pub order: Option<Order>,
    /// Orders that wait.
    pub queue: Vec<Queued>,
    /// What comes next in the queue while no club is open.
    pub next_in_turn: Option<String>,
    /// The open club.
    pub club: Option<Club>,
    /// The last captures.
    pub captures: Vec<Capture>,
}

/// The message `live`: the instruments alone.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default)]
pub struct Live {
    /// As in [`State`].
    pub now: String,
    /// As in [`State`].
    pub seq: u64,
    /// As in [`State`].
    pub beat: u64,
    /// As in [`State`].
    pub instruments: Vec<Instrument>,
}

/// Something that is wrong.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Banner {
    /// What is wrong.
    pub text: String,
    /// What to do.
    pub remedy: String,
}

/// An instrument now.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default)]
pub struct Instrument {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// What it measures.
    pub kind: String,
    /// Whether it sends.
    pub connected: bool,
    /// Why it does not.
    pub error: Option<String>,
    /// Whether it sends on a key only.
    pub on_key: bool,
    /// Its phase.
    pub phase: String,
    /// 0 to 1 while settling.
    pub progress: Option<f64>,
    /// A state or request in words.
    pub message: Option<String>,
    /// Age of its last frame in milliseconds; none before the first.
    pub age_ms: Option<u64>,
    /// What it shows.
    pub readings: Vec<Reading>,
}

/// A value that an instrument shows. Numbers are in one unit; texts are for people.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default)]
pub struct Reading {
    /// What it is, where that is clear.
    pub characteristic: Option<String>,
    /// Its words.
    pub label: Option<String>,
    /// The value.
    #[serde(deserialize_with = "number")]
    pub value: f64,
    /// The value for people.
    pub text: String,
    /// Standard uncertainty, once captured.
    pub u: Option<f64>,
    /// Target.
    pub target: Option<f64>,
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
    /// Target and limits for people.
    pub target_text: Option<String>,
    /// Deviation for people.
    pub deviation_text: Option<String>,
    /// `within`, `under`, `over` or `no_target`.
    pub verdict: Option<String>,
    /// The uncertainty straddles a limit.
    pub marginal: bool,
}

/// A time that runs.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Timer {
    /// The words.
    pub text: String,
    /// Whether it is over.
    pub over: bool,
}

/// The open order.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Order {
    /// Its number.
    pub order: String,
    /// The shop's reference for the player.
    pub player: Option<String>,
    /// Its clubs.
    pub clubs: Vec<OrderedClub>,
}

/// A club of the open order.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct OrderedClub {
    /// Its id.
    pub club: String,
    /// Characteristics measured.
    pub done: usize,
    /// Characteristics the order asks for.
    pub of: usize,
}

/// An order that waits.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Queued {
    /// Its number.
    pub order: String,
    /// How many clubs.
    pub clubs: usize,
}

/// The open club.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default)]
pub struct Club {
    /// Its id.
    pub club: String,
    /// What people call it.
    pub name: String,
    /// For which hand.
    pub hand: String,
    /// How far it is built.
    pub stage: String,
    /// What to do now.
    pub next: Option<String>,
    /// The step that comes next.
    pub next_step: Option<String>,
    /// How to bring it to target.
    pub advice: Vec<String>,
    /// What can hurt at the next step.
    pub cautions: Vec<String>,
    /// Every characteristic asked for or measured.
    pub characteristics: Vec<Line>,
}

/// A line of the club's sheet.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default)]
pub struct Line {
    /// What it is.
    pub characteristic: String,
    /// Its words.
    pub label: String,
    /// Target and limits for people.
    pub target_text: Option<String>,
    /// The newest value for people.
    pub text: Option<String>,
    /// Deviation for people.
    pub deviation_text: Option<String>,
    /// The verdict.
    pub verdict: Option<String>,
    /// The uncertainty straddles a limit.
    pub marginal: bool,
    /// The event of the value.
    pub event: Option<String>,
}

/// A captured reading.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Capture {
    /// The event.
    pub event: String,
    /// When, RFC 3339 UTC.
    pub at: String,
    /// On what.
    pub instrument: String,
    /// What it showed.
    pub text: String,
    /// The same number for number, each with its name; none of a reading that is hidden.
    pub values: Vec<Value>,
    /// Where it went.
    pub filed: Vec<Filed>,
    /// Why it went nowhere.
    pub reason: Option<String>,
    /// Whether it was taken back.
    pub voided: bool,
}

/// One number of a captured reading.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Value {
    /// What it is.
    pub what: String,
    /// The number for people.
    pub text: String,
}

/// Where a captured reading went.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Filed {
    /// The club.
    pub club: String,
    /// The characteristic.
    pub characteristic: String,
    /// How it was judged there.
    pub verdict: Option<String>,
}

/// JSON has no number for what is not finite; it stands as null.
fn number<'de, D: Deserializer<'de>>(input: D) -> Result<f64, D::Error> {
    Ok(Option::<f64>::deserialize(input)?.unwrap_or(f64::NAN))
}
