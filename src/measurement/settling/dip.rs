//! Tells a quick swap of equal parts from a hand that lifts a part a little and lets it down again.
//!
//! Both leave the level as it was. What differs is the unloaded time: however an instrument smooths, the area
//! of the dip over the level is the time for which the whole load was away, and the spread of the dip in time is
//! the spread of the instrument's own step response plus that of the absence. A hand takes a part of the load away for longer.

/// Moments of a weight over time.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Moments {
    begin_s: f64,
    last_s: f64,
    last: f64,
    area: f64,
    first: f64,
    second: f64,
}

impl Moments {
    pub(super) fn begin(t_s: f64, value: f64) -> Self {
        Self { begin_s: t_s, last_s: t_s, last: value, ..Self::default() }
    }

    fn add(&mut self, t_s: f64, weight: f64) {
        let t = t_s - self.begin_s;
        self.area += weight;
        self.first += weight * t;
        self.second += weight * t * t;
    }

    /// Takes the next value of a dip below `level`: what is missing is the weight.
    pub(super) fn dip(&mut self, t_s: f64, value: f64, level: f64) {
        let missing = (level - value) / level;
        let missing = if missing > 0.01 { missing } else { 0.0 };
        self.add(0.5 * (t_s + self.last_s), 0.5 * (missing + self.last) * (t_s - self.last_s));
        (self.last_s, self.last) = (t_s, missing);
    }

    /// Area: s of a dip, load of an edge.
    pub(super) fn area(&self) -> f64 {
        self.area
    }

    /// Spread in time, s²; `None` without area.
    pub(super) fn variance(&self) -> Option<f64> {
        (self.area.abs() > 1e-9).then(|| {
            let mean = self.first / self.area;
            self.second / self.area - mean * mean
        })
    }
}
