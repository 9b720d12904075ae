//! A digital scale: forces on its pan go in, frames of the chosen family come out.
//!
//! The way of a weight through it: pan on its spring, creep and drift of the cell, converter, a filter that starts anew on a
//! jump, zero tracking, rounding to the last digit, and a flag that says "at rest" when the last readings agree.

use std::collections::VecDeque;

use crate::chance::{Chance, Wander};
use crate::instrument::{Deed, Device, STEP_S, step_time_s};
use crate::pan::{Pan, Spring};
use crate::scale_family::ScaleFamily;
use crate::wire::{self, Shown};

/// Steps of the physics in one conversion (40 a second) and conversions in one reading (10 readings a second).
const STEPS_PER_CONVERSION: u64 = 20;
const CONVERSIONS_PER_READING: u64 = 4;
/// Conversions that the filter takes the mean of when nothing moves.
const FILTER_LENGTH: u32 = 24;
/// Readings that must agree within one last digit before the scale calls the load at rest.
const AGREEING: usize = 6;
/// How long a request for a settled value is kept waiting before the scale declines it, s.
const PATIENCE_S: f64 = 5.0;

/// One scale.
#[derive(Debug)]
pub(crate) struct Scale {
    family: ScaleFamily,
    /// Digits after the point; one last digit is a tenth of the one before.
    decimals: u8,
    capacity_g: f64,
    steps: u64,
    pan: Pan,
    spring: Spring,
    drift: Wander,
    creep_g: f64,
    conversion: f64,
    filter: Filter,
    /// The last filtered values, newest last.
    recent: VecDeque<f64>,
    zero_g: f64,
    shown: Option<Shown>,
    heard: Vec<u8>,
    /// Answers to requests, ready to go.
    answers: Vec<Vec<u8>>,
    /// Until when a request for a settled value waits.
    waiting_until_s: Option<f64>,
    chance: Chance,
}

impl Scale {
    pub(crate) fn new(family: ScaleFamily, decimals: u8, capacity_g: f64, chance: Chance) -> Self {
        let last_digit_g = 10_f64.powi(-i32::from(decimals));
        let noise_g = 0.3 * last_digit_g * f64::from(FILTER_LENGTH).sqrt();
        Self {
            family,
            decimals,
            capacity_g,
            steps: 0,
            pan: Pan::empty(),
            spring: Spring::new(200.0, 30.0, 0.15),
            drift: Wander::new(600.0),
            creep_g: 0.0,
            conversion: 0.0,
            filter: Filter { kept: VecDeque::new(), jump_g: (20.0 * last_digit_g).max(1.0), noise_g },
            recent: VecDeque::new(),
            zero_g: 0.0,
            shown: None,
            heard: Vec::new(),
            answers: Vec::new(),
            waiting_until_s: None,
            chance,
        }
    }

    fn last_digit_g(&self) -> f64 {
        10_f64.powi(-i32::from(self.decimals))
    }

    fn polled(&self) -> bool {
        self.family == ScaleFamily::EchoStatusValue10Unit
    }

    /// A whole number of last digits above the present zero.
    fn digits(&self, value_g: f64) -> i64 {
        #[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, far beyond any load")]
        let digits = ((value_g - self.zero_g) / self.last_digit_g()).round() as i64;
        digits
    }

    /// Turns the newest filtered value into what the display shows.
    fn show(&mut self, value_g: f64) -> Shown {
        self.recent.push_back(value_g);
        if self.recent.len() > AGREEING {
            self.recent.pop_front();
        }
        let digits = self.recent.iter().map(|&recent_g| self.digits(recent_g));
        let spread = digits.clone().max().zip(digits.min()).map_or(0, |(most, least)| most - least);
        let stable = self.recent.len() == AGREEING && spread <= 1;
        let digits = self.digits(value_g);
        if stable && digits == 0 {
            // Zero tracking: at most half a last digit a second.
            let most_g = 0.05 * self.last_digit_g();
            self.zero_g += (value_g - self.zero_g).clamp(-most_g, most_g);
        }
        Shown { digits, decimals: self.decimals, stable, over: value_g - self.zero_g > self.capacity_g }
    }

    /// One reading is ready at bench time `t_s`.
    fn read(&mut self, value_g: f64, t_s: f64, frames: &mut Vec<Vec<u8>>) {
        let shown = self.show(value_g);
        self.shown = Some(shown);
        if !self.polled() {
            frames.push(self.family.frame(shown));
        } else if let Some(until_s) = self.waiting_until_s {
            if shown.stable || shown.over {
                frames.push(self.family.frame(shown));
                self.waiting_until_s = None;
            } else if t_s > until_s {
                frames.push(wire::echo_not_executable('S'));
                self.waiting_until_s = None;
            }
        }
    }
}

impl Device for Scale {
    fn act(&mut self, deed: Deed) {
        match deed {
            Deed::Lay(placement) => self.pan.lay(placement, &mut self.chance),
            Deed::Lift(at_s) => self.pan.lift(at_s, &mut self.chance),
            Deed::Scan(_) => {}
        }
    }

    fn hear(&mut self, bytes: &[u8]) {
        if !self.polled() {
            return;
        }
        self.heard.extend_from_slice(bytes);
        while let Some(end) = self.heard.iter().position(|&byte| byte == b'\n') {
            let request: Vec<u8> = self.heard.drain(..=end).collect();
            match (request.trim_ascii(), self.shown) {
                (b"SI", Some(shown)) => self.answers.push(self.family.frame(shown)),
                (b"SI", None) => self.answers.push(wire::echo_not_executable('S')),
                (b"S", _) => self.waiting_until_s = Some(step_time_s(self.steps) + PATIENCE_S),
                // What it does not understand, this scale leaves unanswered.
                _ => {}
            }
        }
        if self.heard.len() > 64 {
            self.heard.clear();
        }
    }

    fn advance(&mut self, t_s: f64, frames: &mut Vec<Vec<u8>>) {
        frames.append(&mut self.answers);
        while step_time_s(self.steps + 1) <= t_s {
            self.steps += 1;
            let step_end_s = step_time_s(self.steps);
            let push = self.pan.push(step_end_s, STEP_S, &mut self.chance);
            let felt_g = self.spring.step(push.riding_g, push.force_g, STEP_S);
            // Creep: half a ten-thousandth of the load, with a memory of six seconds.
            self.creep_g += (5e-5 * push.riding_g - self.creep_g) * STEP_S / 6.0;
            self.conversion += felt_g + self.creep_g;
            if !self.steps.is_multiple_of(STEPS_PER_CONVERSION) {
                continue;
            }
            let steps_per_conversion = 20.0;
            let drift_g = 0.02 * self.drift.step(steps_per_conversion * STEP_S, &mut self.chance);
            let value_g = self.filter.push(self.conversion / steps_per_conversion + drift_g, &mut self.chance);
            self.conversion = 0.0;
            if self.steps.is_multiple_of(STEPS_PER_CONVERSION * CONVERSIONS_PER_READING) {
                self.read(value_g, step_end_s, frames);
            }
        }
    }

    fn next_s(&self) -> f64 {
        let steps = STEPS_PER_CONVERSION * CONVERSIONS_PER_READING;
        step_time_s((self.steps / steps + 1) * steps)
    }
}

/// The mean of the last conversions, which begins anew when one of them lies far from it.
#[derive(Debug)]
struct Filter {
    kept: VecDeque<f64>,
    jump_g: f64,
    /// Standard deviation of one conversion.
    noise_g: f64,
}

impl Filter {
    fn push(&mut self, value_g: f64, chance: &mut Chance) -> f64 {
        let value_g = value_g + self.noise_g * chance.normal();
        if (value_g - self.mean()).abs() > self.jump_g {
            self.kept.clear();
        }
        self.kept.push_back(value_g);
        if self.kept.len() > FILTER_LENGTH as usize {
            self.kept.pop_front();
        }
        self.mean()
    }

    fn mean(&self) -> f64 {
        let count = u32::try_from(self.kept.len()).unwrap_or(u32::MAX).max(1);
        self.kept.iter().sum::<f64>() / f64::from(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::load::{Load, Manner, Placement};

    fn scale(family: ScaleFamily) -> Scale {
        Scale::new(family, 2, 1200.0, Chance::new(1, 0))
    }

    /// What the scale sends from now until `t_s`.
    fn sent(scale: &mut Scale, t_s: f64) -> Vec<String> {
        let mut frames = Vec::new();
        scale.advance(t_s, &mut frames);
        frames.into_iter().map(|frame| String::from_utf8(frame).unwrap()).collect()
    }

    fn lay(scale: &mut Scale, mass_g: f64, contact_s: f64) {
        scale.act(Deed::Lay(Placement { load: Load::Part { mass_g }, manner: Manner::TIDY, contact_s }));
    }

    #[test]
    fn ten_readings_a_second_that_settle_on_the_mass() {
        let mut scale = scale(ScaleFamily::Hdr2Sign8Unit3);
        assert_eq!(sent(&mut scale, 3.0).len(), 30);
        lay(&mut scale, 203.2, 3.0);
        let frames = sent(&mut scale, 9.0);
        assert_eq!(frames.len(), 60);
        assert!(frames.iter().take(5).any(|frame| frame.starts_with("US,")), "{frames:?}");
        let last = frames.last().unwrap();
        let value: f64 = last.get(3..12).unwrap().parse().unwrap();
        // 0.05 g: creep of 0.01 g, drift and noise of 0.02 g, and the last digit.
        assert!(last.starts_with("ST,+") && (value - 203.2).abs() < 0.05, "{last}");
    }

    #[test]
    fn too_much_on_the_pan_is_not_a_weight() {
        let mut scale = scale(ScaleFamily::Hdr2Sign8Unit3);
        lay(&mut scale, 1500.0, 0.0);
        assert_eq!(sent(&mut scale, 5.0).last().unwrap(), "OL,+9999999E+19\r\n");
    }

    #[test]
    fn an_asked_scale_speaks_only_when_asked() {
        let mut scale = scale(ScaleFamily::EchoStatusValue10Unit);
        assert!(sent(&mut scale, 3.0).is_empty());
        scale.hear(b"S");
        scale.hear(b"I\r\nnonsense\r\n");
        let answers = sent(&mut scale, 3.0);
        assert_eq!(answers.len(), 1);
        assert!(answers.first().unwrap().starts_with("S S") && answers.first().unwrap().ends_with("0.00 g\r\n"));
    }

    #[test]
    fn a_settled_value_is_answered_when_the_load_rests() {
        let mut scale = scale(ScaleFamily::EchoStatusValue10Unit);
        assert!(sent(&mut scale, 2.0).is_empty());
        lay(&mut scale, 316.0, 2.0);
        assert!(sent(&mut scale, 2.3).is_empty());
        scale.hear(b"S\r\nSI\r\n");
        let answers = sent(&mut scale, 7.0);
        assert!(answers.first().unwrap().starts_with("S D"), "{answers:?}");
        assert!(answers.get(1).unwrap().starts_with("S S     31"), "{answers:?}");
        assert_eq!(answers.len(), 2);
    }
}
