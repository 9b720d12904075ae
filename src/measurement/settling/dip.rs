//! Tells a quick swap of alike parts from a touch: both leave the level nearly as it was.
//!
//! Raw loads come in while a placement is held. The area of a dip over the level is the time for which the whole load was
//! away, however the instrument smooths (its gain at rest is one); its spread in time is short for a swap and long
//! for a hand. Equal parts that are swapped under a shallow dip cannot be told: they need about one filter time
//! of empty pan.

/// Areas of a swap, s: the time the pan was empty.
const AREA_S: [f64; 2] = [0.07, 0.6];
/// Largest spread (variance) in time of a swap, s².
const SPREAD_S2: f64 = 0.12;
/// Missing parts of the load below this are noise.
const NOISE: f64 = 0.01;
/// After a dip like that of a swap, the same level is this part of what it is otherwise.
const CLOSE: f64 = 0.2;

/// The dip since the placement was last at rest.
#[derive(Debug, Clone, Copy)]
pub(super) struct Dip {
    begin_s: f64,
    last_s: f64,
    last_missing: f64,
    area: f64,
    first: f64,
    second: f64,
}

impl Dip {
    pub(super) fn begin(t_s: f64) -> Self {
        Self { begin_s: t_s, last_s: t_s, last_missing: 0.0, area: 0.0, first: 0.0, second: 0.0 }
    }

    /// Takes the next load of a placement that weighed `level`.
    pub(super) fn push(&mut self, t_s: f64, load: f64, level: f64) {
        let missing = (level - load) / level;
        let missing = if missing > NOISE { missing } else { 0.0 };
        let area = 0.5 * (missing + self.last_missing) * (t_s - self.last_s);
        let t = 0.5 * (t_s + self.last_s) - self.begin_s;
        self.area += area;
        self.first += area * t;
        self.second += area * t * t;
        (self.last_s, self.last_missing) = (t_s, missing);
    }

    /// Which part of the usual closeness a level must keep to be the same placement still.
    pub(super) fn closeness(&self) -> f64 {
        let mean = self.first / self.area;
        let spread = self.second / self.area - mean * mean;
        let swap = AREA_S[0] < self.area && self.area < AREA_S[1] && spread < SPREAD_S2;
        if swap { CLOSE } else { 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A load of 200 g of which `part` is away for `away_s`, on an instrument that averages over `memory_s`.
    fn closeness(part: f64, away_s: f64, memory_s: f64) -> f64 {
        let mut dip = Dip::begin(0.0);
        for i in 0..100_u32 {
            let t = f64::from(i) * 0.05;
            // The overlap of the memory with the absence, by hand.
            let overlap = (t.min(1.0 + away_s) - (t - memory_s).max(1.0)).max(0.0);
            dip.push(t, 200.0 * (1.0 - part * overlap / memory_s), 200.0);
        }
        dip.closeness()
    }

    #[test]
    fn a_quick_swap_asks_for_a_closer_look_however_the_instrument_smooths() {
        for memory_s in [0.1, 0.3, 0.9] {
            assert!(closeness(1.0, 0.3, memory_s) < 1.0, "{memory_s}");
        }
    }

    #[test]
    fn a_hand_that_lifts_a_little_for_long_does_not() {
        assert!(closeness(0.3, 1.6, 0.3) >= 1.0);
        assert!(closeness(0.05, 0.5, 0.3) >= 1.0);
    }
}
