//! The loft and lie gauge: a club in its clamp goes in, angle sentences come out ten times a second.
//!
//! With nothing in the clamp both angles read zero. Loft is in the vertical sense.

use std::f64::consts::TAU;

use crate::chance::Chance;
use crate::instrument::{Deed, Device, STEPS_PER_S, step_time_s};
use crate::load::Load;
use crate::pan::smooth;
use crate::wire;

/// Seconds from touching the clamp until it is closed and the hand is away.
pub(crate) const CLAMPING_S: f64 = 1.2;

const STEPS_PER_SENTENCE: u64 = (STEPS_PER_S / 10) as u64;
/// Seconds in which the arms follow, in and out.
const MOVING_S: f64 = 1.0;
/// Standard deviation of one reading, degrees.
const NOISE_DEG: f64 = 0.006;

/// The gauge; angles are `[loft, lie]` in degrees.
#[derive(Debug)]
pub(crate) struct Gauge {
    steps: u64,
    from_deg: [f64; 2],
    to_deg: [f64; 2],
    /// Bench time at which the arms begin to move from the one to the other.
    start_s: f64,
    chance: Chance,
}

impl Gauge {
    pub(crate) fn new(chance: Chance) -> Self {
        Self { steps: 0, from_deg: [0.0; 2], to_deg: [0.0; 2], start_s: 0.0, chance }
    }

    fn angles_deg(&self, t_s: f64) -> [f64; 2] {
        let since_s = t_s - self.start_s;
        let way = smooth(since_s / MOVING_S);
        // The arms tremble a little after they have come to the stop.
        let tremble = if since_s > 0.0 { 0.004 * (-since_s / 0.5).exp() * (TAU * 4.0 * since_s).sin() } else { 0.0 };
        std::array::from_fn(|axis| {
            let (from, to) = (self.from_deg.get(axis).copied(), self.to_deg.get(axis).copied());
            let (from, to) = (from.unwrap_or_default(), to.unwrap_or_default());
            from + (to - from) * (way + tremble)
        })
    }

    fn move_to(&mut self, to_deg: [f64; 2], start_s: f64) {
        self.from_deg = self.angles_deg(start_s);
        self.to_deg = to_deg;
        self.start_s = start_s;
    }
}

impl Device for Gauge {
    fn act(&mut self, deed: Deed) {
        match deed {
            Deed::Lay(placement) => {
                if let Load::Angles { loft_deg, lie_deg } = placement.load {
                    self.move_to([loft_deg, lie_deg], placement.contact_s);
                }
            }
            Deed::Lift(at_s) => self.move_to([0.0; 2], at_s),
            Deed::Scan(_) => {}
        }
    }

    fn advance(&mut self, t_s: f64, frames: &mut Vec<Vec<u8>>) {
        while self.next_s() <= t_s {
            self.steps += STEPS_PER_SENTENCE;
            let [loft, lie] = self.angles_deg(step_time_s(self.steps)).map(|angle_deg| {
                #[expect(clippy::cast_possible_truncation, reason = "angles are a few thousand hundredths")]
                let hundredths = (100.0 * (angle_deg + NOISE_DEG * self.chance.normal())).round() as i64;
                wire::angle_text(hundredths)
            });
            frames.push(wire::nmea_xdr("II", &[("LIE", lie), ("LOFT", loft)]));
        }
    }

    fn next_s(&self) -> f64 {
        step_time_s(self.steps + STEPS_PER_SENTENCE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::load::{Manner, Placement};

    /// `[lie, loft]` of the last sentence until `t_s`.
    fn last(gauge: &mut Gauge, t_s: f64) -> [f64; 2] {
        let mut frames = Vec::new();
        gauge.advance(t_s, &mut frames);
        let sentence = String::from_utf8(frames.pop().unwrap()).unwrap();
        let fields: Vec<&str> = sentence.split(',').collect();
        [fields[2].parse().unwrap(), fields[6].parse().unwrap()]
    }

    fn check(read: [f64; 2], lie_deg: f64, loft_deg: f64) {
        // Five standard deviations of noise and half a last digit.
        assert!((read[0] - lie_deg).abs() < 0.04 && (read[1] - loft_deg).abs() < 0.04, "{read:?}");
    }

    #[test]
    fn the_angles_follow_the_club_in_and_out_of_the_clamp() {
        let mut gauge = Gauge::new(Chance::new(1, 0));
        check(last(&mut gauge, 1.0), 0.0, 0.0);
        let load = Load::Angles { loft_deg: 34.0, lie_deg: 62.5 };
        gauge.act(Deed::Lay(Placement { load, manner: Manner::TIDY, contact_s: 2.0 }));
        check(last(&mut gauge, 1.9), 0.0, 0.0);
        let halfway = last(&mut gauge, 2.5);
        assert!(halfway[0] > 10.0 && halfway[0] < 55.0, "{halfway:?}");
        check(last(&mut gauge, 7.0), 62.5, 34.0);
        gauge.act(Deed::Lift(7.0));
        check(last(&mut gauge, 12.0), 0.0, 0.0);
    }
}
