//! What the bench shows of itself: a snapshot made from its state and channels.

use std::sync::Arc;

use super::channel::{Channel, Link};
use super::core::{Core, NoticeKind};
use crate::club::shown::number;
use crate::instrument::indication::Wiring;
use crate::measurement::reading::InstrumentKind;
use crate::measurement::stamp::Stamp;
use crate::output::adhesive_view::{TimerView, timers};
use crate::output::text::{self, Lengths};
use crate::output::trust_view;
use crate::output::view::{Banner, InstrumentView, LevelView, ReadingView, Snapshot, live_readings};
use crate::output::work_view::{WorkView, cure_left, work};
use crate::work_order::checks::{NEVER_CHECKED, OVERDUE};
use crate::work_order::state::Fate;

/// Makes snapshots; parts that did not change are shared with the one before.
#[derive(Debug)]
pub struct Show {
    lengths: Lengths,
    beat: u64,
    instruments: Vec<Arc<InstrumentView>>,
    work: Arc<WorkView>,
    banners: Arc<Vec<Banner>>,
    timers: Arc<Vec<TimerView>>,
    /// Whether `work` is older than the last event.
    work_is_old: bool,
    /// How long the open club still cures, as `work` says it.
    cure_left: Option<String>,
}

impl Show {
    /// The first look at a bench.
    #[must_use]
    pub fn new(core: &Core, lengths: Lengths) -> Self {
        let mut show = Self {
            lengths,
            beat: 0,
            instruments: Vec::new(),
            work: Arc::new(WorkView::default()),
            banners: Arc::new(Vec::new()),
            timers: Arc::default(),
            work_is_old: true,
            cure_left: None,
        };
        show.refresh_all(core);
        show
    }

    /// Events were stored: order, club and captures may have changed, and with them what a reading would be.
    pub fn refresh_all(&mut self, core: &Core) {
        self.work_is_old = true;
        self.instruments = core.channels.iter().map(|channel| Arc::new(self.instrument(core, channel))).collect();
    }

    /// One instrument moved.
    pub fn refresh_instrument(&mut self, core: &Core, index: usize) {
        if let (Some(slot), Some(channel)) = (self.instruments.get(index), core.channels.get(index)) {
            let view = Arc::new(self.instrument(core, channel));
            debug_assert_eq!(slot.id, view.id);
            if let Some(slot) = self.instruments.get_mut(index) {
                *slot = view;
            }
        }
    }

    /// The snapshot of this moment, with what is wrong with the recording, if anything is.
    pub fn snapshot(&mut self, core: &Core, stamp: Stamp, recording: Option<Banner>) -> Snapshot {
        self.beat += 1;
        let mut banners = banners(core, stamp);
        banners.extend(recording);
        if *self.banners != banners {
            self.banners = Arc::new(banners);
        }
        let steady_us = core.steady_us(stamp);
        // The words of a cure change with the minutes, without any event.
        let cure_left = cure_left(&core.state, steady_us);
        if self.work_is_old || self.cure_left != cure_left {
            self.work = Arc::new(work(&core.state, self.lengths, steady_us));
            (self.work_is_old, self.cure_left) = (false, cure_left);
        }
        let timers = timers(&core.state, steady_us);
        if *self.timers != timers {
            self.timers = Arc::new(timers);
        }
        Snapshot {
            beat: self.beat,
            stamp,
            seq: core.state.seq,
            instruments: self.instruments.clone(),
            work: Arc::clone(&self.work),
            banners: Arc::clone(&self.banners),
            timers: Arc::clone(&self.timers),
        }
    }

    fn instrument(&self, core: &Core, channel: &Channel) -> InstrumentView {
        let settings = &channel.settings;
        let (phase, progress) = channel.phase();
        let sending = channel.link == Link::Sending;
        let readings = channel
            .showing()
            .filter(|_| sending && settings.wiring.kind.measures())
            .map(|mut reading| {
                // An empty pan is nothing of the club; its mass is shown all the same, its balance would be noise.
                let is_empty = phase == "empty" || phase == "unknown";
                if is_empty && settings.wiring.kind == InstrumentKind::Beam {
                    reading.measured.truncate(1);
                }
                // A part of a study or of the stock is nothing of the club, and no check weight is.
                let is_elsewhere = core.state.is_taken(&settings.id) || is_reference(core, channel);
                let club = core.state.club().filter(|_| !is_empty && !is_elsewhere);
                let mut shown = live_readings(
                    club,
                    settings.wiring.kind,
                    &reading,
                    channel.held.is_some().then_some(channel.expanded.as_slice()),
                    self.lengths,
                    core.state.policy.rule,
                );
                keep_digits(&settings.wiring, &mut shown);
                shown
            })
            .unwrap_or_default();
        let air = channel.air_c.filter(|_| sending).map(air);
        InstrumentView {
            id: settings.id.clone(),
            name: settings.name.clone(),
            kind: settings.wiring.kind.name(),
            connected: sending,
            error: match &channel.link {
                Link::Lost(reason) => Some(reason.clone()),
                Link::Awaited | Link::Sending => None,
            },
            format: settings.format.family.clone(),
            refused: channel.refused.values().sum(),
            refused_by_reason: channel.refused.clone(),
            heard_s: channel.heard_s,
            on_key: channel.is_on_key(),
            phase,
            progress,
            message: channel.message.as_deref().map(str::to_owned),
            readings: readings.into_iter().chain(air).collect(),
            calibration_due: trust_view::due(&core.state, &settings.id),
            study: core
                .state
                .studies
                .open_on(&settings.id)
                .and_then(|study| study.next_words(core.state.operator.as_deref())),
            intake: core.state.part_stock.next_words(&settings.id),
            awaiting: core.state.trust.expected.get(&settings.id).map(|expected| expected.reference.words()),
            level: level(channel, sending),
        }
    }
}

/// Whether what lies on an instrument is a weight or block of known angles, or what is laid there next will be.
fn is_reference(core: &Core, channel: &Channel) -> bool {
    let id = &channel.settings.id;
    if channel.held.is_none() {
        return core.state.trust.expected.contains_key(id);
    }
    let last = core.state.captures.iter().rev().find(|line| line.captured.instrument == *id);
    last.is_some_and(|line| line.fate == Fate::Reference)
}

/// Between capacity and the last number (OIML R 76-1, 4.2.3: capacity and nine intervals) a mass keeps the digits of its
/// instrument: rounding would lead beyond.
fn keep_digits(wiring: &Wiring, readings: &mut [ReadingView]) {
    let Some(capacity) = wiring.capacity else { return };
    let decimals = [0.1, 0.01, 0.001].iter().zip(1..).find(|(step, _)| wiring.resolution >= **step * 0.999);
    let decimals = decimals.map_or(4, |(_, decimals)| decimals);
    for reading in readings.iter_mut().filter(|reading| reading.unit == "g" && reading.value > capacity.0) {
        reading.text = format!("{} g", number(reading.value, decimals));
    }
}

/// A temperature as it is shown.
fn air(celsius: f64) -> ReadingView {
    ReadingView { value: celsius, text: format!("{celsius:.1} °C"), unit: "Cel", ..ReadingView::default() }
}

/// The moving level of an instrument that sends.
fn level(channel: &Channel, sending: bool) -> LevelView {
    let kind = channel.settings.wiring.kind;
    if !sending || !kind.measures() {
        return LevelView::default();
    }
    let unit = if kind == InstrumentKind::Gauge { "deg" } else { "g" };
    let (zero, noise) = (channel.zero(), channel.noise());
    let shown = |value: f64| text::small(value, unit);
    LevelView {
        level: channel.level(),
        level_unit: unit,
        zero,
        zero_text: zero.map(shown),
        noise,
        // A step of the last digit hides what is smaller.
        noise_text: noise.map(|s| if s > 0.0 { shown(s) } else { "less than its last digit".to_owned() }),
    }
}

fn banners(core: &Core, stamp: Stamp) -> Vec<Banner> {
    let lost = core.channels.iter().filter_map(|channel| match &channel.link {
        Link::Lost(reason) => {
            let (what, remedy) = reason.split_once("; ").unwrap_or((reason, "see the instrument"));
            Some(Banner {
                level: "warning",
                text: format!("{}: {what}", channel.settings.name),
                remedy: remedy.to_owned(),
            })
        }
        _ => None,
    });
    let notices = core.current_notices(stamp.t_s).map(|notice| {
        let (what, remedy) = notice.text.split_once(": ").unwrap_or((&notice.text, ""));
        let level = if notice.kind == NoticeKind::Done { "info" } else { "warning" };
        Banner { level, text: what.to_owned(), remedy: remedy.to_owned() }
    });
    lost.chain(troubled(core, stamp)).chain(notices).collect()
}

/// Instruments that are not to be trusted: one banner for all that were never checked, one for all that are overdue.
fn troubled(core: &Core, stamp: Stamp) -> Vec<Banner> {
    let trouble = |channel: &Channel| core.state.trust.trouble(&core.state.policy, &channel.settings.id, stamp.at_us);
    let all: Vec<_> = core.channels.iter().filter_map(|channel| Some((channel, trouble(channel)?))).collect();
    let together = |wanted: &str| {
        let names: Vec<&str> = all
            .iter()
            .filter(|(_, words)| words == wanted)
            .map(|(channel, _)| channel.settings.name.as_str())
            .collect();
        (names.len() > 1).then(|| (names.len(), names.join(", ")))
    };
    let warning = |text: String, remedy: String| Banner { level: "warning", text, remedy };
    let each = "check each: pages, instruments".to_owned();
    let (never, overdue) = (together(NEVER_CHECKED), together(OVERDUE));
    let alone = all.iter().filter(|(_, words)| match words.as_str() {
        NEVER_CHECKED => never.is_none(),
        OVERDUE => overdue.is_none(),
        _ => true,
    });
    let alone = alone.map(|(channel, trouble)| {
        let with = match channel.settings.wiring.kind {
            InstrumentKind::Gauge => "its block of known angles",
            _ => "its weight",
        };
        let remedy =
            format!("check it with {with}: pages, instruments, or `benchscribe check-weights {}`", channel.settings.id);
        warning(format!("{} {trouble}", channel.settings.name), remedy)
    });
    let mut banners: Vec<Banner> = alone.collect();
    banners.extend(
        never
            .as_ref()
            .map(|(count, names)| warning(format!("{count} instruments were never checked: {names}"), each.clone())),
    );
    banners.extend(overdue.as_ref().map(|(count, names)| {
        warning(format!("{count} instruments are overdue for their check: {names}"), each.clone())
    }));
    banners
}
