//! The configuration of a bench: who it is, where it listens, which instruments are on which port.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use jiff::tz::TimeZone;

use super::attachment_section::read_attachment;
use super::calibration_section::{ideal_gauge, ideal_scale, read_beam, read_gauge, read_scale};
use super::document::{Document, Mistakes, Section};
use super::guidance_section::{read_bend_limits, read_rules_section};
use super::kit_file::read_drawers;
use super::named_files::NamedFiles;
use super::network_section::{read_http, read_mqtt};
use super::trust_section::{moved, read_class, read_interval, read_place, read_policy};
use crate::instrument::attachment::Attachment;
use crate::instrument::format::{Format, LineSettings, Mode, Parity};
use crate::instrument::indication::Wiring;
use crate::instrument::pedal;
use crate::measurement::calibration::Calibration;
use crate::measurement::check_weight::InstrumentClass;
use crate::measurement::quantity::Dimension;
use crate::measurement::reading::InstrumentKind;
use crate::measurement::unit::Grams;
use crate::work_order::bending::BendLimit;
use crate::work_order::checks::Policy;
use crate::work_order::drawers::Drawers;
use crate::work_order::rules::RuleBook;

/// A bench as configured.
#[derive(Debug, Clone)]
pub struct BenchSettings {
    /// The place, part of the topics.
    pub site: String,
    /// The bench, part of the topics.
    pub bench: String,
    /// Folder of the journal.
    pub data: PathBuf,
    /// Page and API.
    pub http: HttpSettings,
    /// Other displays.
    pub mqtt: MqttSettings,
    /// How lengths are shown.
    pub length_unit: LengthUnit,
    /// The time zone of the workshop, where the configuration names one.
    pub time_zone: Option<TimeZone>,
    /// How verdicts are taken and instruments are checked.
    pub policy: Policy,
    /// The equipment rules clubs are compared with: those that come with the program, unless a file replaces them.
    pub rules: RuleBook,
    /// How far heads may be bent.
    pub bend_limits: Vec<BendLimit>,
    /// The instruments.
    pub instruments: Vec<InstrumentSettings>,
    /// What is in the drawers, by the kit files that the configuration names.
    pub drawers: Drawers,
    /// The files that the configuration names, by the name that stands there.
    pub named_files: BTreeMap<String, String>,
    /// Where the session is recorded, if it is: asked for on the command line.
    pub recording: Option<RecordingSettings>,
}

/// A recording of all inputs of the bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordingSettings {
    /// Folder of the recordings.
    pub folder: PathBuf,
    /// The configuration as written, for the header.
    pub configuration: String,
    /// The files it names, by name.
    pub named_files: BTreeMap<String, String>,
    /// A file of inputs that has reached this is followed by the next one, in bytes.
    pub most_bytes: u64,
    /// The most files of inputs that all sessions together may take, at least 2; the oldest go.
    pub most_files: usize,
}

/// Page and API.
#[derive(Debug, Clone)]
pub struct HttpSettings {
    /// Where to listen; port 0 takes a free one.
    pub listen: SocketAddr,
    /// Host names by which the page may be asked for, besides IP addresses, `localhost` and `.local`.
    pub hosts: Vec<String>,
    /// Where other machines reach the page, for codes on printed sheets: `http://bench.local:7311`.
    pub url: Option<String>,
}

/// Where messages go.
#[derive(Debug, Clone)]
pub struct MqttSettings {
    /// The broker; none starts the embedded one, if there is an address for it.
    pub broker: Option<BrokerAddress>,
    /// Where the embedded broker listens.
    pub embedded: Option<SocketAddr>,
    /// Whether commands are taken over MQTT.
    pub commands: bool,
}

/// A broker on the network.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BrokerAddress {
    /// Name or address.
    pub host: String,
    /// Port.
    pub port: u16,
}

/// How lengths are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthUnit {
    /// Inches and fractions.
    Inch,
    /// Millimetres.
    Millimetre,
}

/// One instrument.
#[derive(Debug, Clone)]
pub struct InstrumentSettings {
    /// Name in topics and records.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// How its frames are to be understood.
    pub wiring: Wiring,
    /// How it reaches this machine.
    pub attachment: Attachment,
    /// Path of its port, best one of /dev/serial/by-id.
    pub port: PathBuf,
    /// Its wire format, with the settings applied.
    pub format: Format,
    /// Settings of the format as given.
    pub format_settings: Vec<(String, String)>,
    /// Readings a second.
    pub rate_hz: f64,
    /// Calibration as configured; none for what does not measure.
    pub calibration: Option<Calibration>,
    /// Accuracy class of a scale, if it has one.
    pub accuracy_class: Option<InstrumentClass>,
    /// Its verification interval e in grams, where the plate says one.
    pub verification_interval_g: Option<f64>,
}

/// Reads a bench's configuration that names no other files.
///
/// # Errors
/// Every mistake of the file.
pub fn read_bench(file: &str, text: &str) -> Result<BenchSettings, Mistakes> {
    read_bench_with(file, text, &NamedFiles::none())
}

/// Reads a bench's configuration and the files it names.
///
/// # Errors
/// Every mistake of the file and of those it names.
pub fn read_bench_with(file: &str, text: &str, files: &NamedFiles<'_>) -> Result<BenchSettings, Mistakes> {
    Document::read(file, text, |top| {
        let site = topic_name(top, "site", "dune-trailer");
        let bench = topic_name(top, "bench", "bench-1");
        let data = top.filled_text("data", "data");
        let http = top.section("http", read_http).unwrap_or_else(|| Some(HttpSettings::default()));
        let mqtt = top.section("mqtt", read_mqtt).unwrap_or_else(|| Some(MqttSettings::default()));
        let units = [("inch", LengthUnit::Inch), ("mm", LengthUnit::Millimetre)];
        let display = top.section("display", |s| (s.choice("length", &units), read_time_zone(s)));
        let (length_unit, time_zone) = display.unwrap_or_default();
        let policy = read_policy(top);
        let here = top.section("place", read_place).flatten();
        let rules = read_rules_section(top, files);
        let bend_limits = read_bend_limits(top);
        let drawers = read_drawers(top, files);
        let instruments = top.sections("instrument", |_, section| read_instrument(section, here, files));
        let mut ids: Vec<&str> = instruments.iter().map(|i| i.id.as_str()).collect();
        ids.sort_unstable();
        if ids.windows(2).any(|pair| pair.first() == pair.last()) {
            top.mistake("instrument", "two instruments have the same id; each needs its own");
        }
        Some(BenchSettings {
            site: site?,
            bench: bench?,
            data: PathBuf::from(data.unwrap_or("data")),
            http: http?,
            mqtt: mqtt?,
            length_unit: length_unit.unwrap_or(LengthUnit::Inch),
            time_zone,
            policy: policy?,
            rules: rules?,
            bend_limits,
            instruments,
            drawers,
            named_files: files.texts(),
            recording: None,
        })
    })
}

impl Default for HttpSettings {
    fn default() -> Self {
        Self { listen: SocketAddr::from(([127, 0, 0, 1], 7311)), hosts: Vec::new(), url: None }
    }
}

impl Default for MqttSettings {
    fn default() -> Self {
        Self { broker: None, embedded: Some(SocketAddr::from(([127, 0, 0, 1], 1883))), commands: false }
    }
}

fn read_time_zone(section: &Section<'_>) -> Option<TimeZone> {
    let name = section.filled_text("time_zone", "Europe/Berlin")?;
    let zone = TimeZone::get(name).ok();
    if zone.is_none() {
        section.mistake(
            "time_zone",
            "expected a name of the time zone database of this machine, such as \"Europe/Berlin\"",
        );
    }
    zone
}

impl BenchSettings {
    /// The time zone of the workshop: the one that is named, else the machine's.
    #[must_use]
    pub fn zone(&self) -> TimeZone {
        self.time_zone.clone().unwrap_or_else(zone_of_machine)
    }
}

/// The machine's time zone; UTC where it has none.
#[must_use]
pub fn zone_of_machine() -> TimeZone {
    TimeZone::try_system().unwrap_or(TimeZone::UTC)
}

/// A name that may stand in a topic: no user text with `/`, `+`, `#` or blanks gets there.
fn topic_name(section: &Section<'_>, key: &'static str, example: &str) -> Option<String> {
    let text = section.required_text(key, example)?;
    let fits = text.len() <= 40 && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
    if !fits {
        section.mistake(key, format!("expected at most 40 small letters, digits and '-', for example \"{example}\""));
    }
    fits.then(|| text.to_owned())
}

/// Reads one instrument; `here` is the gravity of the bench's place, in m/s², if it is known.
fn read_instrument(section: &Section<'_>, here: Option<f64>, files: &NamedFiles<'_>) -> Option<InstrumentSettings> {
    let id = topic_name(section, "id", "parts-scale");
    let name = section.filled_text("name", "parts scale").map(str::to_owned);
    let kinds: Vec<(&str, InstrumentKind)> = InstrumentKind::ALL.iter().map(|k| (k.name(), *k)).collect();
    if !section.has("kind") {
        section.mistake("kind", "expected one of: scale, beam, gauge, thermometer, scanner, pedal");
    }
    let kind = section.choice("kind", &kinds);
    let port = section.required_text("port", "/dev/serial/by-id/...");
    let attachment = kind.zip(port).and_then(|(kind, port)| read_attachment(section, kind, port));
    let (mut format, format_settings) = if kind == Some(InstrumentKind::Pedal) {
        if section.has("format") {
            section.mistake("format", "a pedal has no wire format; leave `format` out");
        }
        (pedal::format().ok(), Vec::new())
    } else {
        read_format(section, files)
    };
    read_sending(section, kind, format.as_mut());
    let default_rate = if kind == Some(InstrumentKind::Beam) { 80.0 } else { 10.0 };
    let rate_hz = if section.has("rate") { section.number("rate", 1.0..=1000.0) } else { Some(default_rate) };
    let (resolution, calibration, channels) = match kind {
        Some(InstrumentKind::Scale) => {
            if !section.has("resolution") {
                section.mistake("resolution", "expected the last digit the scale shows, such as \"0.1 g\"");
            }
            let resolution = section.positive("resolution", Dimension::Mass);
            let calibration = section.section("calibration", read_scale).unwrap_or_else(|| Some(ideal_scale()));
            (resolution, calibration, Some([String::new(), String::new()]))
        }
        Some(InstrumentKind::Beam) => {
            if !section.has("calibration") {
                section.mistake("calibration", "a beam needs its zero, counts per gram and support positions");
            }
            let cells = channel_names(section, ["1", "2"], "the names of the two cells in a frame");
            (Some(0.0), section.section("calibration", read_beam).flatten(), cells)
        }
        Some(InstrumentKind::Gauge) => {
            let resolution =
                if section.has("resolution") { section.positive("resolution", Dimension::Angle) } else { Some(0.1) };
            let calibration = section.section("calibration", read_gauge).unwrap_or_else(|| Some(ideal_gauge()));
            (resolution, calibration, channel_names(section, ["LIE", "LOFT"], "the names of lie and loft in a frame"))
        }
        Some(InstrumentKind::Thermometer) => {
            let channel = section.text("channel").unwrap_or_default().to_owned();
            (Some(0.0), None, Some([channel, String::new()]))
        }
        Some(InstrumentKind::Scanner | InstrumentKind::Pedal) => {
            (Some(0.0), None, Some([String::new(), String::new()]))
        }
        None => {
            // What they mean hangs on the kind.
            section.pass_over(&OF_A_KIND);
            (Some(0.0), None, None)
        }
    };
    match_format(section, kind, format.as_ref());
    let capacity = section.positive("capacity", Dimension::Mass).map(Grams);
    if let (Some(capacity), Some(resolution)) = (capacity, resolution)
        && capacity.0 <= resolution
    {
        section.mistake("capacity", "is no more than the last digit: expected the most that may be laid on");
    }
    let accuracy_class = read_class(section);
    let verification_interval_g = read_interval(section, accuracy_class, resolution, capacity);
    let adjusted = section.section("adjusted_at", read_place).flatten();
    if adjusted.is_some() && here.is_none() {
        section.mistake("adjusted_at", "needs the place of the bench in [place]");
    }
    let calibration = match (calibration, adjusted.zip(here)) {
        (Some(calibration), Some((adjusted, here))) => Some(moved(calibration, adjusted, here)),
        (calibration, _) => calibration,
    };
    let id = id?;
    let kind = kind?;
    if kind.measures() && calibration.is_none() {
        return None;
    }
    Some(InstrumentSettings {
        name: name.unwrap_or_else(|| id.clone()),
        id,
        wiring: Wiring { kind, channels: channels?, resolution: resolution?, capacity },
        attachment: attachment?,
        port: PathBuf::from(port?),
        format: format?,
        format_settings,
        rate_hz: rate_hz?,
        calibration,
        accuracy_class,
        verification_interval_g,
    })
}

/// Keys of an instrument that say different things of different kinds.
const OF_A_KIND: [&str; 9] =
    ["resolution", "calibration", "channels", "channel", "keys", "prefix", "accept_key", "void_key", "contact"];

/// Notes a wire format that cannot come from an instrument of this kind: a scanner sends codes, all others numbers.
fn match_format(section: &Section<'_>, kind: Option<InstrumentKind>, format: Option<&Format>) {
    let (Some(kind), Some(format)) = (kind, format) else { return };
    let key = if section.has("format_file") { "format_file" } else { "format" };
    match kind {
        InstrumentKind::Pedal => {}
        InstrumentKind::Scanner if !format.gives_codes() => {
            section.mistake(key, format!("{} gives numbers and no codes: it is no scanner's", format.family));
        }
        InstrumentKind::Scanner => {}
        _ if format.gives_codes() => {
            section.mistake(key, format!("{} gives codes and no numbers: it is a scanner's", format.family));
        }
        _ => {}
    }
}

fn channel_names(section: &Section<'_>, usual: [&str; 2], what: &str) -> Option<[String; 2]> {
    if section.has("channels") { section.text_pair("channels", what) } else { Some(usual.map(str::to_owned)) }
}

fn read_format(section: &Section<'_>, files: &NamedFiles<'_>) -> (Option<Format>, Vec<(String, String)>) {
    let Some(mut format) =
        (if section.has("format_file") { own_format(section, files) } else { known_format(section) })
    else {
        return (None, Vec::new());
    };
    let mut settings = Vec::new();
    for setting in section.texts("format_settings").unwrap_or_default() {
        let Some((key, value)) = setting.split_once('=') else {
            section.mistake("format_settings", "expected texts such as \"word_order=ABCD\"");
            continue;
        };
        match format.set(key, value) {
            Ok(()) => settings.push((key.to_owned(), value.to_owned())),
            Err(error) => section.mistake("format_settings", error.to_string()),
        }
    }
    if let Some(line) = section.text("line") {
        match line_settings(line) {
            Some(line) => format.line = line,
            None => section.mistake("line", "expected baud, data bits, parity and stop bits such as \"9600 8N1\""),
        }
    }
    (Some(format), settings)
}

fn known_format(section: &Section<'_>) -> Option<Format> {
    let family = section.required_text("format", "hdr2-sign8-unit3")?;
    match Format::built_in(family) {
        Ok(format) => Some(format),
        Err(error) => {
            section.mistake("format", format!("{error}; one of your own is named by `format_file`"));
            None
        }
    }
}

/// A format that the user describes; its family is the file's name.
fn own_format(section: &Section<'_>, files: &NamedFiles<'_>) -> Option<Format> {
    if section.has("format") {
        section.mistake("format", "is one format too many beside `format_file`: leave one out");
        return None;
    }
    let (name, text) = files.text(section, "format_file")?;
    let family = Path::new(&name).file_stem()?.to_str()?;
    if Format::families().contains(&family) {
        section.mistake("format_file", format!("a built-in format is named {family} already: name the file otherwise"));
        return None;
    }
    Format::from_toml(&text, family).map_err(|error| section.mistake("format_file", error.to_string())).ok()
}

/// When the instrument sends, where it does not do as its family usually does.
fn read_sending(section: &Section<'_>, kind: Option<InstrumentKind>, format: Option<&mut Format>) {
    let ways = [("streaming", Mode::Streaming), ("on-key", Mode::OnKey)];
    let Some(format) = format else { return };
    if let Some(mode) = section.choice("sends", &ways) {
        format.mode = mode;
        // What sends by itself is not asked.
        format.request = None;
    }
    if format.mode == Mode::OnKey && kind == Some(InstrumentKind::Beam) && !format.gives_codes() {
        let key = if section.has("sends") { "sends" } else { "format" };
        section.mistake(key, "a beam must send by itself: two numbers on a key say nothing about when it came to rest");
    }
}

/// Reads `9600 8N1`.
fn line_settings(text: &str) -> Option<LineSettings> {
    let (baud, rest) = text.split_once(' ')?;
    let mut rest = rest.chars();
    let data_bits = match rest.next()? {
        '7' => 7,
        '8' => 8,
        _ => return None,
    };
    let parity = match rest.next()? {
        'N' => Parity::None,
        'E' => Parity::Even,
        'O' => Parity::Odd,
        _ => return None,
    };
    let stop_bits = match rest.next()? {
        '1' => 1,
        '2' => 2,
        _ => return None,
    };
    let baud = baud.parse().ok().filter(|baud| (50..=4_000_000).contains(baud))?;
    rest.next().is_none().then_some(LineSettings { baud, data_bits, parity, stop_bits })
}
