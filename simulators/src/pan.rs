//! A pan or a beam under a load and a hand.
//!
//! A placement goes in; out come, moment by moment, the forces that act, and what a cell under the pan feels of them. The
//! physics is invented but ordinary: contact, uneven lowering, a hand that leans or lifts before it lets go, the ring of a
//! shaft. Forces are in grams (the mass that would weigh as much), positions in mm from the butt stop.

use std::f64::consts::{PI, TAU};

use crate::chance::{Chance, Wander};
use crate::load::{Load, Manner, Placement};

/// What acts on the pan or beam at one moment.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Push {
    /// Mass that rides on the pan and slows its ringing, g.
    pub(crate) riding_g: f64,
    /// All forces together, g; a hand that lifts counts negative.
    pub(crate) force_g: f64,
    /// Moment of these forces about the butt stop, g·mm.
    pub(crate) moment_gmm: f64,
}

/// One pan or beam with whatever lies on it.
#[derive(Debug)]
pub(crate) struct Pan {
    on: Option<Placement>,
    lift: Option<Lift>,
    ring: Ring,
    hand_mm: f64,
    unevenness: Wander,
    lean: Wander,
}

/// A hand taking the load away, from `start_s` and within `takes_s`.
#[derive(Clone, Copy, Debug)]
struct Lift {
    start_s: f64,
    takes_s: f64,
}

/// How a long part sways after the hand has let go, as a share of its weight.
#[derive(Clone, Copy, Debug, Default)]
struct Ring {
    share: f64,
    hz: f64,
    decay_s: f64,
}

impl Pan {
    pub(crate) fn empty() -> Self {
        Self {
            on: None,
            lift: None,
            ring: Ring::default(),
            hand_mm: 0.0,
            unevenness: Wander::new(0.25),
            lean: Wander::new(0.8),
        }
    }

    /// Lays a load down; one that lies there already is gone the moment the new one touches.
    pub(crate) fn lay(&mut self, placement: Placement, chance: &mut Chance) {
        let long = matches!(placement.load, Load::Club { .. });
        self.ring = Ring {
            share: chance.between(0.0005, if long { 0.006 } else { 0.001 }),
            hz: chance.between(2.5, 8.0),
            decay_s: chance.between(0.25, 1.2),
        };
        self.hand_mm = placement.load.balance_mm() + 80.0 * chance.normal();
        self.on = Some(placement);
        self.lift = None;
    }

    /// Takes the load away, beginning at `start_s`.
    pub(crate) fn lift(&mut self, start_s: f64, chance: &mut Chance) {
        self.lift = Some(Lift { start_s, takes_s: chance.between(0.06, 0.25) });
    }

    /// The forces at bench time `t_s`, which must not go back; `dt_s` since the last call.
    pub(crate) fn push(&mut self, t_s: f64, dt_s: f64, chance: &mut Chance) -> Push {
        let Some(placement) = self.on else {
            return Push::default();
        };
        let since_s = t_s - placement.contact_s;
        if since_s < 0.0 {
            return Push::default();
        }
        let (mass_g, balance_mm) = (placement.load.mass_g(), placement.load.balance_mm());
        let mut left = 1.0;
        let mut hand_there = true;
        if let Some(lift) = self.lift {
            left = 1.0 - smooth((t_s - lift.start_s) / lift.takes_s);
            hand_there = t_s < lift.start_s;
            if left <= 0.0 {
                (self.on, self.lift) = (None, None);
                return Push::default();
            }
        }
        let (settled_on, hand_g) = self.hand(placement.manner, since_s, dt_s, mass_g, chance);
        let weight_g = mass_g * settled_on * left;
        let hand_g = if hand_there { hand_g } else { 0.0 };
        let free_s = since_s - placement.manner.release_s();
        let ring_g = if free_s > 0.0 {
            weight_g * self.ring.share * (-free_s / self.ring.decay_s).exp() * (TAU * self.ring.hz * free_s).sin()
        } else {
            0.0
        };
        Push {
            riding_g: weight_g,
            force_g: weight_g + hand_g + ring_g,
            moment_gmm: (weight_g + ring_g) * balance_mm + hand_g * self.hand_mm,
        }
    }

    /// The share of the load that the pan touches, and the force of the hand in grams, `since_s` after contact.
    fn hand(&mut self, manner: Manner, since_s: f64, dt_s: f64, mass_g: f64, chance: &mut Chance) -> (f64, f64) {
        if since_s >= manner.release_s() + 0.05 {
            return (1.0, 0.0);
        }
        let uneven = self.unevenness.step(dt_s, chance);
        let lean = self.lean.step(dt_s, chance);
        let carried = |lower_s: f64| -mass_g * (1.0 - smooth(since_s / lower_s)) * (1.0 + 0.05 * uneven);
        match manner {
            Manner::Drop { rise_s, impact } => {
                let blow_s = 0.035;
                let blow = if since_s < blow_s { (PI * since_s / blow_s).sin() } else { 0.0 };
                (smooth(since_s / rise_s), mass_g * impact * blow)
            }
            Manner::Lower { lower_s } => ((since_s / 0.02).min(1.0), carried(lower_s)),
            Manner::Late { lower_s, share, let_go_s, .. } => {
                let letting_go = smooth((since_s - (manner.release_s() - let_go_s)) / let_go_s);
                let grip = smooth((since_s - 0.6 * lower_s) / (0.4 * lower_s)) * (1.0 - letting_go);
                let amount_g = (share - 1.0) * mass_g;
                ((since_s / 0.02).min(1.0), carried(lower_s) + grip * (amount_g + (0.05 * amount_g.abs() + 0.2) * lean))
            }
        }
    }
}

/// From 0 to 1 without a corner, as `x` goes from 0 to 1.
pub(crate) fn smooth(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

/// The pan on its spring: a damped oscillator that gets slower the more mass rides on it. At rest it shows the force itself.
#[derive(Debug)]
pub(crate) struct Spring {
    /// Mass of the pan, g; frequency and damping ratio of the empty pan.
    pub(crate) pan_g: f64,
    pub(crate) hz: f64,
    pub(crate) damping: f64,
    shown_g: f64,
    speed: f64,
}

impl Spring {
    pub(crate) fn new(pan_g: f64, hz: f64, damping: f64) -> Self {
        Self { pan_g, hz, damping, shown_g: 0.0, speed: 0.0 }
    }

    /// One step of at most a few milliseconds (semi-implicit Euler); the load in grams that the cell feels.
    pub(crate) fn step(&mut self, riding_g: f64, force_g: f64, dt_s: f64) -> f64 {
        let slower = (self.pan_g / (self.pan_g + riding_g.max(0.0))).sqrt();
        let rate = TAU * self.hz * slower;
        self.speed += (rate * rate * (force_g - self.shown_g) - 2.0 * self.damping * slower * rate * self.speed) * dt_s;
        self.shown_g += self.speed * dt_s;
        self.shown_g
    }
}
#[cfg(test)]
mod tests {
    use super::*;

    /// Force and moment `after_s` seconds after contact.
    fn pushed(load: Load, manner: Manner, after_s: f64) -> Push {
        let (mut pan, mut chance) = (Pan::empty(), Chance::new(1, 0));
        pan.lay(Placement { load, manner, contact_s: 1.0 }, &mut chance);
        let mut push = Push::default();
        let mut t_s = 0.0;
        while t_s < 1.0 + after_s {
            t_s += 0.01;
            push = pan.push(t_s, 0.01, &mut chance);
        }
        push
    }

    #[test]
    fn whatever_the_manner_the_pan_carries_the_weight_in_the_end() {
        let club = Load::Club { mass_g: 316.0, balance_mm: 861.0 };
        let late = Manner::Late { lower_s: 0.5, share: 0.5, hold_s: 1.0, let_go_s: 0.2 };
        for manner in [Manner::TIDY, Manner::Drop { rise_s: 0.05, impact: 1.0 }, late] {
            let push = pushed(club, manner, 20.0);
            assert!((push.force_g - 316.0).abs() < 1e-3, "{manner:?} {push:?}");
            assert!((push.moment_gmm - 316.0 * 861.0).abs() < 1.0, "{manner:?} {push:?}");
        }
    }

    #[test]
    fn a_hand_that_still_holds_leaves_only_its_share_on_the_pan() {
        let late = Manner::Late { lower_s: 0.5, share: 0.5, hold_s: 2.0, let_go_s: 0.2 };
        let push = pushed(Load::Part { mass_g: 200.0 }, late, 1.5);
        assert!((push.force_g - 100.0).abs() < 25.0, "{push:?}");
    }

    #[test]
    fn nothing_weighs_before_contact_and_after_lifting() {
        let (mut pan, mut chance) = (Pan::empty(), Chance::new(1, 0));
        pan.lay(Placement { load: Load::Part { mass_g: 50.0 }, manner: Manner::TIDY, contact_s: 1.0 }, &mut chance);
        assert!(pan.push(0.9, 0.01, &mut chance).force_g.abs() < 1e-12);
        pan.lift(5.0, &mut chance);
        assert!(pan.push(5.3, 0.01, &mut chance).force_g.abs() < 1e-12);
    }

    #[test]
    fn the_spring_comes_to_rest_at_the_force() {
        let mut spring = Spring::new(200.0, 30.0, 0.15);
        let shown = (0..4000).map(|_| spring.step(203.0, 203.0, 1.0 / 800.0)).last().unwrap();
        assert!((shown - 203.0).abs() < 1e-6, "{shown}");
    }
}
