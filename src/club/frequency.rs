//! How fast a clamped shaft swings with a mass at its end, and how that follows length, mass and head.
//!
//! A beam of even stiffness that is clamped at its butt and carries a rigid head comes in; cycles a minute, and the stiffness
//! that a measured frequency tells of, go out. The shape of the swing is taken to be that of the beam under a force at the
//! mass (Rayleigh's quotient): `f = 1/2π · √(3EI / ((l³ − a³) · m))`, `l = L + a`. With a point mass at the end (a = 0) that
//! is the textbook's `√(3EI / (L³ (M + 33/140 m)))` (from memory; `tests/frequency.rs` holds it against finite elements). Absent:
//! taper, which is the caller's uncertainty.

/// A beam that swings: clamped at one end, with a rigid body at the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cantilever {
    /// From the clamp to where the body begins, in millimetres.
    pub free_mm: f64,
    /// Mass of a millimetre of the beam, in grams.
    pub beam_g_per_mm: f64,
    /// Mass of the body, in grams.
    pub body_g: f64,
    /// Its centre beyond the end of the free beam, in millimetres.
    pub beyond_mm: f64,
    /// Its own inertia about its centre, across the swing, in g·mm².
    pub body_inertia_gmm2: f64,
    /// Masses of points on it as they count at the centre of the body, in grams; see [`Cantilever::with_mass`].
    pub points_g: f64,
}

/// How far a real shaft is from an even beam, as a share of what a change of its free length does (standard uncertainty): its
/// butt is two to five times as stiff as its tip (common practice, no source; `tests/frequency.rs` shows what that makes).
pub const UNEVEN_SHARE: f64 = 0.25;
/// Cycles a minute of one radian a second.
const CPM_PER_RADIAN_PER_S: f64 = 60.0 / std::f64::consts::TAU;

impl Cantilever {
    /// `l³ − a³` in mm³: the compliance at the body's centre is that divided by 3EI.
    fn compliance(&self) -> f64 {
        (self.free_mm + self.beyond_mm).powi(3) - self.beyond_mm.powi(3)
    }

    /// Deflection at a distance from the clamp, in millimetres, as a share of that at the body's centre; 0 within the clamp.
    #[must_use]
    pub fn deflection(&self, from_clamp_mm: f64) -> f64 {
        let whole = self.free_mm + self.beyond_mm;
        let on_beam = from_clamp_mm.clamp(0.0, self.free_mm);
        let bent = on_beam * on_beam * (3.0 * whole - on_beam);
        // Beyond the beam the body goes on straight.
        let slope = 6.0 * whole * self.free_mm - 3.0 * self.free_mm * self.free_mm;
        (bent + (from_clamp_mm - on_beam).max(0.0) * slope) / (2.0 * self.compliance())
    }

    /// The same with a mass in grams put at a distance from the clamp, in millimetres; it counts by the square of how far
    /// it swings.
    #[must_use]
    pub fn with_mass(self, grams: f64, from_clamp_mm: f64) -> Self {
        let counts = grams * self.deflection(from_clamp_mm).powi(2);
        Self { points_g: self.points_g + counts, ..self }
    }

    /// The mass that at the body's centre would swing as fast, in grams.
    #[must_use]
    pub fn swinging_g(&self) -> f64 {
        let (l, free) = (self.free_mm + self.beyond_mm, self.free_mm);
        let compliance = self.compliance();
        let share = free.powi(5) * (1.8 * l * l - l * free + free * free / 7.0) / (4.0 * compliance * compliance);
        let turn_per_mm = 1.5 * (2.0 * l * free - free * free) / compliance;
        self.body_g + self.beam_g_per_mm * share + self.body_inertia_gmm2 * turn_per_mm.powi(2) + self.points_g
    }

    /// Frequency in cycles a minute for a bending stiffness EI in N·mm².
    #[must_use]
    pub fn cpm(&self, stiffness_n_mm2: f64) -> f64 {
        // N = 10⁶ g·mm/s².
        let per_s2 = 3.0e6 * stiffness_n_mm2 / (self.compliance() * self.swinging_g());
        per_s2.sqrt() * CPM_PER_RADIAN_PER_S
    }

    /// The bending stiffness EI in N·mm² that a frequency in cycles a minute tells of.
    #[must_use]
    pub fn stiffness(&self, cpm: f64) -> f64 {
        let radians_per_s = cpm / CPM_PER_RADIAN_PER_S;
        radians_per_s * radians_per_s * self.compliance() * self.swinging_g() / 3.0e6
    }

    /// Whether it is a beam at all: some of it free, with a mass on it.
    #[must_use]
    pub fn is_possible(&self) -> bool {
        let swings = self.swinging_g();
        self.free_mm > 0.0 && self.compliance() > 0.0 && swings.is_finite() && swings > 0.0
    }
}

/// The frequency of one beam from that of another of the same stiffness, in cycles a minute; `None` where either is no beam.
#[must_use]
pub fn carried_over(cpm: f64, measured: &Cantilever, wanted: &Cantilever) -> Option<f64> {
    let is_possible = measured.is_possible() && wanted.is_possible();
    let found = is_possible.then(|| wanted.cpm(measured.stiffness(cpm)))?;
    found.is_finite().then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain(free_mm: f64, beam_g: f64, body_g: f64) -> Cantilever {
        Cantilever {
            free_mm,
            beam_g_per_mm: beam_g / free_mm,
            body_g,
            beyond_mm: 0.0,
            body_inertia_gmm2: 0.0,
            points_g: 0.0,
        }
    }

    #[test]
    fn with_a_mass_at_the_end_it_is_the_textbook_formula() {
        // By hand: EI = 3.5 N·m², L = 0.9 m, M = 0.2 kg, m = 0.06 kg; M + 33/140 m = 0.214143 kg,
        // 3 · 3.5 / (0.729 · 0.214143) = 67.261 /s², 8.2013 rad/s, 78.32 cycles a minute.
        let beam = plain(900.0, 60.0, 200.0);
        assert!((beam.swinging_g() - (200.0 + 60.0 * 33.0 / 140.0)).abs() < 1e-9);
        assert!((beam.cpm(3.5e6) - 78.32).abs() < 0.01, "{}", beam.cpm(3.5e6));
        assert!((beam.stiffness(beam.cpm(3.5e6)) - 3.5e6).abs() < 1e-3);
    }

    #[test]
    fn two_hundredths_more_mass_at_the_end_are_a_hundredth_slower() {
        // Common practice, no source: 2 % of tip mass is 1 % of frequency.
        let (light, heavy) = (plain(900.0, 60.0, 200.0), plain(900.0, 60.0, 204.0));
        let found = carried_over(255.0, &light, &heavy).unwrap();
        assert!((found / 255.0 - 0.99).abs() < 0.001, "{found}");
    }

    #[test]
    fn a_mass_put_on_counts_by_where_it_swings() {
        let beam = Cantilever { beyond_mm: 40.0, ..plain(900.0, 60.0, 200.0) };
        let at = |mm: f64| beam.with_mass(10.0, mm).swinging_g() - beam.swinging_g();
        // At the body's centre all of it, in the clamp nothing, and never more outside than in.
        assert!((at(940.0) - 10.0).abs() < 1e-9 && at(0.0).abs() < 1e-12 && at(-50.0).abs() < 1e-12);
        assert!(at(450.0) < at(850.0) && at(850.0) < at(940.0));
    }

    #[test]
    fn what_is_no_beam_has_no_frequency() {
        let beam = plain(900.0, 60.0, 200.0);
        assert_eq!(carried_over(255.0, &beam, &plain(0.0, 0.0, 200.0)), None);
        assert_eq!(carried_over(255.0, &plain(-10.0, 60.0, 200.0), &beam), None);
    }
}
