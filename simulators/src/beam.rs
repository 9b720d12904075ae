//! The swing-weight beam: a club lies across two load cells, the counts of both come out 80 times a second.
//!
//! No unit, no zero, no filter: what a bare converter of two cells sends. A clip holds the club down, so that a cell may
//! be pulled and count below its zero.

use crate::chance::{Chance, Wander};
use crate::instrument::{Deed, Device, STEP_S, STEPS_PER_S, step_time_s};
use crate::pan::{Pan, Spring};
use crate::wire;

/// Where the two cells stand, mm from the butt stop.
pub const CELL_POSITIONS_MM: [f64; 2] = [100.0, 840.0];
/// Counts for each gram on a cell, both cells alike.
pub const COUNTS_PER_G: f64 = 1000.0;
/// Counts of each cell with nothing on the beam.
pub const ZERO_COUNTS: [f64; 2] = [8388.0, -4210.0];

/// Lines a second.
const RATE: u32 = 80;
const STEPS_PER_LINE: u64 = (STEPS_PER_S / RATE) as u64;
/// Standard deviation of one line's noise on one cell, g.
const NOISE_G: f64 = 0.05;
/// Standard deviation of the slow drift of a cell, g, with a memory of ten minutes.
const DRIFT_G: f64 = 0.05;

/// The beam with its two cells.
#[derive(Debug)]
pub(crate) struct Beam {
    steps: u64,
    pan: Pan,
    springs: [Spring; 2],
    drifts: [Wander; 2],
    /// Sums over the steps of the present line.
    sums: [f64; 2],
    chance: Chance,
}

impl Beam {
    pub(crate) fn new(chance: Chance) -> Self {
        Self {
            steps: 0,
            pan: Pan::empty(),
            springs: [Spring::new(140.0, 25.0, 0.1), Spring::new(140.0, 27.0, 0.1)],
            drifts: [Wander::new(600.0), Wander::new(600.0)],
            sums: [0.0; 2],
            chance,
        }
    }

    fn line(&mut self) -> Vec<u8> {
        let steps_per_line = f64::from(STEPS_PER_S / RATE);
        let mut counts = [0; 2];
        let cells = self.sums.iter_mut().zip(&mut self.drifts).zip(ZERO_COUNTS).zip(&mut counts);
        for (((sum, drift), zero), count) in cells {
            let drift_g = DRIFT_G * drift.step(steps_per_line * STEP_S, &mut self.chance);
            let felt_g = *sum / steps_per_line + drift_g + NOISE_G * self.chance.normal();
            #[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, far beyond any load")]
            let rounded = (COUNTS_PER_G * felt_g + zero).round() as i64;
            (*count, *sum) = (rounded, 0.0);
        }
        wire::dual_cell_line(counts)
    }
}

/// The forces on the two cells, g: together the force, and the same moment about the butt stop.
fn reactions(force_g: f64, moment_gmm: f64) -> [f64; 2] {
    let [near_mm, far_mm] = CELL_POSITIONS_MM;
    let far_g = (moment_gmm - force_g * near_mm) / (far_mm - near_mm);
    [force_g - far_g, far_g]
}

impl Device for Beam {
    fn act(&mut self, deed: Deed) {
        match deed {
            Deed::Lay(placement) => self.pan.lay(placement, &mut self.chance),
            Deed::Lift(at_s) => self.pan.lift(at_s, &mut self.chance),
            Deed::Scan(_) => {}
        }
    }

    fn advance(&mut self, t_s: f64, frames: &mut Vec<Vec<u8>>) {
        while step_time_s(self.steps + 1) <= t_s {
            self.steps += 1;
            let push = self.pan.push(step_time_s(self.steps), STEP_S, &mut self.chance);
            let forces = reactions(push.force_g, push.moment_gmm);
            for ((spring, sum), force_g) in self.springs.iter_mut().zip(&mut self.sums).zip(forces) {
                *sum += spring.step(0.5 * push.riding_g, force_g, STEP_S);
            }
            if self.steps.is_multiple_of(STEPS_PER_LINE) {
                let line = self.line();
                frames.push(line);
            }
        }
    }

    fn next_s(&self) -> f64 {
        step_time_s((self.steps / STEPS_PER_LINE + 1) * STEPS_PER_LINE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::load::{Load, Manner, Placement};

    #[test]
    fn the_cells_carry_the_club_by_the_law_of_the_lever() {
        // By hand: 316 g at 861 mm. Moments about the near cell: far = 316 x (861 - 100) / 740 = 324.967567... g,
        // near = 316 - 324.967567 = -8.967567 g: the club hangs over the far cell, the clip pulls at the near one.
        let [near_g, far_g] = reactions(316.0, 316.0 * 861.0);
        assert!((far_g - 324.967_567_567_567).abs() < 1e-9, "{far_g}");
        assert!((near_g + 8.967_567_567_567).abs() < 1e-9, "{near_g}");
    }

    #[test]
    fn a_club_on_the_beam_moves_the_counts_of_both_cells() {
        let mut beam = Beam::new(Chance::new(1, 0));
        let load = Load::Club { mass_g: 316.0, balance_mm: 861.0 };
        beam.act(Deed::Lay(Placement { load, manner: Manner::TIDY, contact_s: 1.0 }));
        let mut frames = Vec::new();
        beam.advance(10.0, &mut frames);
        assert_eq!(frames.len(), 800);
        let mut sums = [0.0; 2];
        for frame in frames.iter().skip(640) {
            let text = std::str::from_utf8(frame).unwrap();
            let (near, far) = text.trim_end_matches('\n').split_once('\t').unwrap();
            sums[0] += near.parse::<f64>().unwrap();
            sums[1] += far.parse::<f64>().unwrap();
        }
        // 160 lines: noise 0.05 g / sqrt(160) = 0.004 g, drift in 10 s sqrt(2 x 10 / 600) x 0.05 = 0.01 g; 60 counts allowed.
        assert!((sums[0] / 160.0 - (8388.0 - 8967.6)).abs() < 60.0, "{}", sums[0] / 160.0);
        assert!((sums[1] / 160.0 - (-4210.0 + 324_967.6)).abs() < 60.0, "{}", sums[1] / 160.0);
    }
}
