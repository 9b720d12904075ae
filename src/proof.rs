//! Proves an archived reading: from its raw frames, by the calibration in force, to the last digit. Pure.

use std::sync::Arc;

use crate::instrument::format::{Decoder, Format, Item};
use crate::instrument::indication::{Indication, Wiring, read};
use crate::measurement::calibration::settling_limits;
use crate::measurement::evidence::Evidence;
use crate::measurement::printed::{printed, u_own_zero};
use crate::measurement::quantity::Target;
use crate::measurement::settling::{
    Capture, NoZero, SettlingLimits, Zeroing, recompute_with_doubt, recompute_zero, zero_part,
};
use crate::measurement::uncertainty::{Budget, LevelParts, assess};
use crate::measurement::unit::Grams;
use crate::work_order::event::{CapturedReading, Change, FiledValue};
use crate::work_order::judging::{is_a_limit, judge};

/// The version of the program since which numbers come out as they do now: raised, with the version of the package, by whoever
/// changes how a value, an uncertainty or a verdict is worked out.
pub const NUMBERS_SINCE: (u32, u32, u32) = (0, 3, 0);

/// The version since which a reading is kept with the samples its zero was seen in, and a calibration with the zeros it found.
pub const ZEROS_SINCE: (u32, u32, u32) = (0, 4, 0);

/// A version as three numbers; `None` where it is none.
#[must_use]
pub fn version(text: &str) -> Option<(u32, u32, u32)> {
    let mut parts = text.split(['.', '-', '+']).map(|part| part.parse().ok());
    Some((parts.next()??, parts.next()??, parts.next()??))
}

/// What an archived value does not agree with.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Doubt {
    /// The event that should hold the calibration is of another kind.
    #[error("its calibration event holds no calibration")]
    NoCalibration,
    /// The wire format is not known any more.
    #[error("its wire format cannot be used: {0}")]
    Format(String),
    /// A stored frame does not decode to a value.
    #[error("stored frame {index} does not decode to a value")]
    Frame {
        /// Which, from 0.
        index: usize,
    },
    /// A stored sample is not what the frame and the calibration give.
    #[error("stored sample {index} is not what its frame gives")]
    Sample {
        /// Which, from 0.
        index: usize,
    },
    /// The stored samples do not hold the window of the capture.
    #[error("the stored samples do not hold the window of the capture")]
    Window,
    /// The level is not the mean of the stored samples.
    #[error("the stored samples give another level than the record says")]
    Level,
    /// The uncertainty of the level is not what the samples and the zero give.
    #[error("the stored samples give another uncertainty of the level than the record says")]
    LevelUncertainty,
    /// The stored samples do not hold the empty instrument its zero was seen on.
    #[error("the stored samples do not hold the look at its zero")]
    ZeroWindow,
    /// The zero is not what the samples of the empty instrument can have left.
    #[error("the stored samples of the empty instrument give another zero than the record says")]
    Zero,
    /// The uncertainty of the zero is not what its samples give, or not that of an instrument that sends on its key.
    #[error("the stored samples of the empty instrument give another uncertainty of its zero than the record says")]
    ZeroUncertainty,
    /// The budget is not what level, calibration and checks give.
    #[error("level, calibration and checks give another uncertainty budget than the record says")]
    Budget,
    /// The quantities are not what level and calibration give.
    #[error("level and calibration give another reading than the record says")]
    Reading,
    /// A filed value is not one of the reading's.
    #[error("the filed {0} is not a value of its reading")]
    Filed(&'static str),
    /// A verdict or deviation is not what value and target give.
    #[error("the verdict of the filed {0} is not what value and limits give")]
    Verdict(&'static str),
}

/// Where the zero of a proved reading comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ZeroProof {
    /// It was worked out again, or there is none.
    WorkedOut,
    /// As recorded: journals older than `ZEROS_SINCE` do not keep the samples it was seen in.
    AsRecorded,
}

/// Recomputes a captured reading from its frames.
///
/// # Errors
/// What it does not agree with.
pub fn prove(captured: &CapturedReading, calibrated: &Change, evidence: &Evidence) -> Result<ZeroProof, Doubt> {
    let Change::Calibrated {
        format,
        format_text,
        format_settings,
        channels,
        resolution,
        rate_hz,
        capacity_g,
        calibration,
        ..
    } = calibrated
    else {
        return Err(Doubt::NoCalibration);
    };
    let described = match format_text {
        Some(text) => Format::from_toml(text, format),
        None => Format::built_in(format),
    };
    let mut format = described.map_err(|error| Doubt::Format(error.to_string()))?;
    for (key, value) in format_settings {
        format.set(key, value).map_err(|error| Doubt::Format(error.to_string()))?;
    }
    let format = Arc::new(format);
    let capacity = capacity_g.map(Grams);
    let wiring = Wiring { kind: captured.kind, channels: channels.clone(), resolution: *resolution, capacity };
    if evidence.frames.len() != evidence.samples.len() {
        return Err(Doubt::Window);
    }
    // The last frame is the one that decided; the age of the zero goes by it.
    if evidence.frames.last().is_none_or(|last| !same_bits(&[last.t_s], &[captured.t_s])) {
        return Err(Doubt::Window);
    }
    for (index, (frame, stored)) in evidence.frames.iter().zip(&evidence.samples).enumerate() {
        let values = values_of(&format, &wiring, &frame.bytes).ok_or(Doubt::Frame { index })?;
        let sample = calibration.sample(frame.t_s, values);
        if !same_bits(&[sample.t_s], &[stored.t_s]) || !same_bits(&sample.values, &stored.values) {
            return Err(Doubt::Sample { index });
        }
    }
    let limits = settling_limits(captured.kind, *resolution, *rate_hz, capacity);
    let window = (captured.window_s[0], captured.window_s[1]);
    let u_zero = captured.budget_inputs.map_or([0.0; 2], |inputs| inputs.u_zero);
    let zero_proof = prove_zero(captured, &limits, evidence)?;
    let again = if captured.on_key {
        printed(&limits, &evidence.samples, window, u_zero)
    } else {
        recompute_with_doubt(&limits, &evidence.samples, window, captured.zero, u_zero)
    };
    let again = again.ok_or(Doubt::Window)?;
    let levels = again.values;
    if !same_bits(&levels, &captured.levels) {
        return Err(Doubt::Level);
    }
    let capture = Capture {
        t_s: captured.t_s,
        values: levels,
        u: captured.u_levels,
        window,
        zero: captured.zero,
        u_zero,
        zero_look: None,
        n: again.n,
    };
    let (reading, budget) = match &captured.budget_inputs {
        // Journals older than budgets keep only the uncertainty of the levels.
        None => (calibration.reading(&capture, captured.laid).ok_or(Doubt::Reading)?, Vec::new()),
        Some(inputs) => {
            if !same_bits(&again.u, &captured.u_levels) {
                return Err(Doubt::LevelUncertainty);
            }
            let parts = LevelParts::split(again.u, zero_part(&limits, u_zero), *resolution, again.n);
            assess(calibration, &capture, captured.laid, &parts, inputs.drift.as_ref()).ok_or(Doubt::Reading)?
        }
    };
    if !same_budget(&budget, &captured.budget) {
        return Err(Doubt::Budget);
    }
    let same = reading.measured.len() == captured.measured.len()
        && reading.measured.iter().zip(&captured.measured).all(|(computed, stored)| {
            computed.quantity == stored.quantity && same_bits(&[computed.value, computed.u], &[stored.value, stored.u])
        });
    if same { Ok(zero_proof) } else { Err(Doubt::Reading) }
}

/// Works the zero and its uncertainty out again from the samples of the empty instrument.
fn prove_zero(captured: &CapturedReading, limits: &SettlingLimits, evidence: &Evidence) -> Result<ZeroProof, Doubt> {
    let Some(inputs) = captured.budget_inputs else { return Ok(ZeroProof::AsRecorded) };
    let same_u = |u: [f64; 2]| {
        if same_bits(&inputs.u_zero, &u) { Ok(ZeroProof::WorkedOut) } else { Err(Doubt::ZeroUncertainty) }
    };
    if captured.on_key || limits.zeroing == Zeroing::PresenceOnly {
        if !same_bits(&captured.zero, &[0.0; 2]) {
            return Err(Doubt::Zero);
        }
        return same_u(if captured.on_key { u_own_zero(limits) } else { [0.0; 2] });
    }
    let Some(look) = inputs.zero_look else {
        let is_possible = inputs.u_zero.iter().all(|u| u.is_finite() && *u >= 0.0);
        return if is_possible { Ok(ZeroProof::AsRecorded) } else { Err(Doubt::ZeroUncertainty) };
    };
    // What lies there is no look at the zero: a load came after it.
    if look.window.1 >= captured.window_s[0] || captured.levels[0] <= limits.on {
        return Err(Doubt::ZeroWindow);
    }
    let again = recompute_zero(limits, &evidence.samples, (captured.zero, look), captured.t_s);
    same_u(again.map_err(|why| if why == NoZero::Missing { Doubt::ZeroWindow } else { Doubt::Zero })?)
}

/// Checks that a filed value comes from its reading and that its verdict follows from its limits.
///
/// # Errors
/// What it does not agree with.
pub fn prove_filed(captured: Option<&CapturedReading>, filed: &FiledValue) -> Result<(), Doubt> {
    let name = filed.characteristic.name();
    let is_from = |captured: &CapturedReading| {
        captured.measured.iter().filter(|m| same_bits(&[m.value, m.u], &[filed.value, filed.u])).any(|m| {
            let budget = captured.budget.iter().find(|budget| budget.quantity == m.quantity);
            // Journals that keep no expanded uncertainty judged with k = 2.
            filed.expanded_u.is_none_or(|stored| {
                budget.and_then(Budget::expanded).is_some_and(|computed| same_bits(&[computed], &[stored]))
            })
        })
    };
    if !captured.map_or(filed.expanded_u.is_none(), is_from) {
        return Err(Doubt::Filed(name));
    }
    let target = Target { value: filed.target, lower: filed.lower, upper: filed.upper };
    let judged = judge(filed.rule, &target, filed.value, filed.expanded());
    let same_deviation = match (judged.deviation, filed.deviation) {
        (Some(computed), Some(stored)) => same_bits(&[computed], &[stored]),
        (None, None) => true,
        _ => false,
    };
    let same_verdict = judged.verdict == filed.verdict || is_a_limit(&target, filed.value);
    if same_deviation && same_verdict && judged.marginal == filed.marginal { Ok(()) } else { Err(Doubt::Verdict(name)) }
}

fn same_budget(computed: &[Budget], stored: &[Budget]) -> bool {
    let same = |(a, b): (&Budget, &Budget)| {
        a.quantity == b.quantity
            && a.components.len() == b.components.len()
            && a.components.iter().zip(&b.components).all(|(a, b)| {
                let freedom = |f: Option<f64>| f.unwrap_or(f64::INFINITY);
                a.source == b.source && same_bits(&[a.u, freedom(a.freedom)], &[b.u, freedom(b.freedom)])
            })
    };
    computed.len() == stored.len() && computed.iter().zip(stored).all(same)
}

fn values_of(format: &Arc<Format>, wiring: &Wiring, bytes: &[u8]) -> Option<[f64; 2]> {
    let mut decoder = Decoder::new(Arc::clone(format));
    let mut found = None;
    let mut take = |item: Item<'_>| {
        if let Item::Frame(frame, _) = item {
            found = Some(frame);
        }
    };
    decoder.push(bytes, &mut take);
    decoder.finish(&mut take);
    match read(wiring, &found?) {
        Indication::Values(values) => Some(values),
        _ => None,
    }
}

/// Equal to the last bit. The journal's canonical JSON (RFC 8785) knows no negative zero, so both zeros are one.
fn same_bits(a: &[f64], b: &[f64]) -> bool {
    let bits = |x: &f64| (x + 0.0).to_bits();
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| bits(a) == bits(b))
}
