//! What an angle gauge indicates, and what the club that lies in it is: a datum for each hand, the sense of its loft, and
//! the face angle, which no gauge of lie and loft sees.
//!
//! Levels (indications less the datum of right-handed clubs) come in, angles of the record and their sensitivities go out.
//! Absent: which club lies there, and how a placement came to rest.

use super::calibration::Scatter;
use super::unit::Degrees;

/// Which hand a club is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Hand {
    /// For a right-handed player.
    Right,
    /// For a left-handed player: the mirror image.
    Left,
}

impl Hand {
    /// Both, in order.
    pub const ALL: &'static [Self] = &[Self::Right, Self::Left];

    /// The name in files, records and messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
        }
    }

    /// Reads a name.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|hand| hand.name() == name)
    }
}

/// What a gauge indicates for a lie and a loft of zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Datum {
    /// Of the lie.
    pub lie: Degrees,
    /// Of the loft, in the sense the gauge reads.
    pub loft: Degrees,
}

/// Datum of an angle gauge, subtracted from its indications.
///
/// A fixture that is out of level by a roll reads the lie of one hand too steep and that of the other too flat, so each
/// hand has its datum (first order in the slope; what is left at 2 deg is compared with the rotation model in the tests).
#[derive(Debug, Clone, PartialEq)]
pub struct GaugeCalibration {
    /// What the gauge indicates for a right-handed lie of zero.
    pub lie_datum: Degrees,
    /// What the gauge indicates for a right-handed loft of zero.
    pub loft_datum: Degrees,
    /// The same for left-handed clubs; `None` where it was never found or stated.
    pub left: Option<Datum>,
    /// Standard uncertainty of the fixture and its datum.
    pub u_datum: Degrees,
    /// Standard uncertainty of the fixture's level; 0 where nobody stated one.
    pub u_level: Degrees,
    /// In which sense the gauge reads loft.
    pub loft_sense: LoftSense,
    /// How far from square a face may be that nobody measured (standard uncertainty); `None` is [`SQUARED`].
    pub u_face: Option<Degrees>,
    /// What of `u_datum` is scatter; `None` where nobody adjusted.
    pub scatter: Option<Scatter>,
}

/// How squarely a face is laid in by eye (standard uncertainty; common practice, no source).
pub const SQUARED: Degrees = Degrees(0.5);

/// The two definitions of loft, up to 3 degrees apart on a wedge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoftSense {
    /// From the vertical, at the measured lie: the sense of the record.
    Vertical,
    /// In the plane of the shaft and the target direction; converted with lie and face angle.
    ShaftPlane,
}

/// What lies in a gauge, as far as the gauge itself cannot tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Laid {
    /// A club.
    Club {
        /// For which hand.
        hand: Hand,
        /// Its face angle, where it was measured.
        face: Option<FaceAngle>,
    },
    /// A block of known angles in the sense that the gauge reads, laid in as a club of one hand would be.
    Block {
        /// Of which hand.
        hand: Hand,
    },
}

/// A face angle that was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FaceAngle {
    /// Closed positive, in degrees.
    pub closed_deg: f64,
    /// Its standard uncertainty, in degrees.
    pub u_deg: f64,
}

/// What is known of a club when nobody has said which it is.
const ANY_CLUB: Laid = Laid::Club { hand: Hand::Right, face: None };

/// How loft of the record follows what it is made from; all of dimension 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LoftSlopes {
    pub(super) by_lie: f64,
    pub(super) by_loft: f64,
    pub(super) by_face: f64,
}

impl LoftSense {
    /// The loft in the vertical sense, from what a gauge of this sense shows; all in degrees, the face closed positive.
    ///
    /// `tan L = (tan L_s cos F - sin F cos Λ) / sin Λ`, own derivation from the rotation model, which the tests compare it
    /// with; `tan L = tan L_s / sin Λ` for a square face.
    #[must_use]
    pub fn to_vertical(self, loft_deg: f64, lie_deg: f64, face_deg: f64) -> f64 {
        match self {
            Self::Vertical => loft_deg,
            Self::ShaftPlane => vertical_slope(loft_deg, lie_deg, face_deg).atan().to_degrees(),
        }
    }

    /// The loft in the plane of the shaft and the target direction, from the loft in the vertical sense; all in degrees, the
    /// face closed positive. `to_vertical` of [`LoftSense::ShaftPlane`] solved for the other loft.
    #[must_use]
    pub fn in_shaft_plane(loft_deg: f64, lie_deg: f64, face_deg: f64) -> f64 {
        let ((sin_lie, cos_lie), (sin_face, cos_face)) =
            (lie_deg.to_radians().sin_cos(), face_deg.to_radians().sin_cos());
        ((loft_deg.to_radians().tan() * sin_lie + sin_face * cos_lie) / cos_face).atan().to_degrees()
    }
}

/// The tangent of the loft in the vertical sense.
fn vertical_slope(loft_deg: f64, lie_deg: f64, face_deg: f64) -> f64 {
    let ((sin_lie, cos_lie), (sin_face, cos_face)) = (lie_deg.to_radians().sin_cos(), face_deg.to_radians().sin_cos());
    (loft_deg.to_radians().tan() * cos_face - sin_face * cos_lie) / sin_lie
}

impl GaugeCalibration {
    /// The datum of a hand; `None` where only the other hand's is known.
    #[must_use]
    pub fn datum(&self, hand: Hand) -> Option<Datum> {
        let right = Datum { lie: self.lie_datum, loft: self.loft_datum };
        match hand {
            Hand::Right => Some(right),
            Hand::Left => self.left.or_else(|| self.is_called_level().then_some(right)),
        }
    }

    /// Whether one datum may serve both hands: somebody says how level the fixture is, or there is nothing to take off. Any
    /// other datum may be the slope of the fixture, which is the other way round for the other hand.
    fn is_called_level(&self) -> bool {
        self.u_level.0 > 0.0 || (self.lie_datum.0 == 0.0 && self.loft_datum.0 == 0.0)
    }

    /// Whether a club gives other angles when it is taken for one of the other hand.
    #[must_use]
    pub fn tells_hands_apart(&self) -> bool {
        self.datum(Hand::Left) != self.datum(Hand::Right)
    }

    /// Roll of the fixture, in degrees, raising the golfer's side for a right-handed club: half of what the two hands'
    /// lies differ by. 0 where one datum serves both.
    #[must_use]
    pub fn roll_deg(&self) -> f64 {
        self.left.map_or(0.0, |left| (self.lie_datum.0 - left.lie.0) / 2.0)
    }

    /// Lie and loft of the record, in degrees, from levels; of a block lie and loft as the gauge shows them. `None` for a
    /// club of a hand whose datum is not known.
    #[must_use]
    pub fn angles(&self, levels: [f64; 2], laid: Option<Laid>) -> Option<[f64; 2]> {
        let laid = laid.unwrap_or(ANY_CLUB);
        let [lie, loft] = self.shown(levels, laid)?;
        let Laid::Club { hand, .. } = laid else { return Some([lie, loft]) };
        let face_deg = laid.face_deg();
        let loft = match self.loft_sense {
            // Rolled toward the golfer, gravity sees a closed face look up (first order: roll · sin F).
            LoftSense::Vertical => loft - hand.sign() * self.roll_deg() * face_deg.to_radians().sin(),
            LoftSense::ShaftPlane => self.loft_sense.to_vertical(loft, lie, face_deg),
        };
        Some([lie, loft])
    }

    /// Lie and loft in the sense of the gauge with the datum of the hand taken off.
    fn shown(&self, [lie, loft]: [f64; 2], laid: Laid) -> Option<[f64; 2]> {
        let datum = match laid {
            Laid::Club { hand, .. } => self.datum(hand)?,
            // A block is what the datum of its hand is found with, so there need not be one yet.
            Laid::Block { hand } => match self.datum(hand) {
                Some(datum) => datum,
                None => return Some([lie, loft]),
            },
        };
        Some([lie - (datum.lie.0 - self.lie_datum.0), loft - (datum.loft.0 - self.loft_datum.0)])
    }

    /// Standard uncertainty of the level for what lies there: the datum of the other hand turns a slope round.
    pub(super) fn level_u(&self, laid: Option<Laid>) -> f64 {
        let is_lent = self.left.is_none() && laid.is_some_and(|laid| laid.hand() == Hand::Left);
        if is_lent { 2.0 * self.u_level.0 } else { self.u_level.0 }
    }

    /// Standard uncertainty of the face angle, in degrees; 0 where it bears on nothing, or in journals older than it.
    pub(super) fn face_u(&self, laid: Option<Laid>) -> f64 {
        match laid {
            Some(Laid::Club { face: Some(face), .. }) => face.u_deg,
            Some(Laid::Club { face: None, .. }) => self.u_face.unwrap_or(SQUARED).0,
            Some(Laid::Block { .. }) | None => 0.0,
        }
    }

    /// How the loft of the record follows lie, indicated loft and face angle at these levels: partial derivatives of
    /// [`GaugeCalibration::angles`], own derivation, checked against differences in the tests.
    pub(super) fn loft_slopes(&self, levels: [f64; 2], laid: Option<Laid>) -> Option<LoftSlopes> {
        let laid = laid.unwrap_or(ANY_CLUB);
        let (LoftSense::ShaftPlane, Laid::Club { .. }) = (self.loft_sense, laid) else {
            let by_face = match laid {
                Laid::Club { hand, .. } => {
                    -hand.sign() * self.roll_deg().to_radians() * laid.face_deg().to_radians().cos()
                }
                Laid::Block { .. } => 0.0,
            };
            return Some(LoftSlopes { by_lie: 0.0, by_loft: 1.0, by_face });
        };
        let [lie_deg, loft_deg] = self.shown(levels, laid)?;
        let ((sin_lie, cos_lie), (sin_face, cos_face)) =
            (lie_deg.to_radians().sin_cos(), laid.face_deg().to_radians().sin_cos());
        let slope = loft_deg.to_radians().tan();
        let vertical = vertical_slope(loft_deg, lie_deg, laid.face_deg());
        let outer = 1.0 / (1.0 + vertical * vertical);
        Some(LoftSlopes {
            by_lie: (-outer * slope * cos_face * cos_lie + outer * sin_face) / (sin_lie * sin_lie),
            by_loft: outer * (1.0 + slope * slope) * cos_face / sin_lie,
            by_face: -outer * (slope * sin_face + cos_face * cos_lie) / sin_lie,
        })
    }
}

impl Laid {
    /// For which hand.
    #[must_use]
    pub fn hand(self) -> Hand {
        match self {
            Self::Club { hand, .. } | Self::Block { hand } => hand,
        }
    }

    /// The face angle it is taken to have, in degrees, closed positive: square where nobody measured it.
    fn face_deg(self) -> f64 {
        match self {
            Self::Club { face: Some(face), .. } => face.closed_deg,
            Self::Club { face: None, .. } | Self::Block { .. } => 0.0,
        }
    }
}

impl Hand {
    fn sign(self) -> f64 {
        match self {
            Self::Right => 1.0,
            Self::Left => -1.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gauge(loft_sense: LoftSense, left: Option<Datum>) -> GaugeCalibration {
        GaugeCalibration {
            lie_datum: Degrees(1.2),
            loft_datum: Degrees(-0.4),
            left,
            u_datum: Degrees(0.05),
            u_level: Degrees(0.0),
            loft_sense,
            u_face: None,
            scatter: None,
        }
    }

    fn club(hand: Hand, closed_deg: f64) -> Option<Laid> {
        Some(Laid::Club { hand, face: Some(FaceAngle { closed_deg, u_deg: 0.2 }) })
    }

    #[test]
    fn a_gauge_in_the_shaft_plane_is_converted() {
        // Worked example: L = 34°, lie 62.5° reads 30.9° in the shaft plane (tan 34° · sin 62.5°, by hand 0.59832).
        let loft = LoftSense::ShaftPlane.to_vertical(30.893, 62.5, 0.0);
        assert!((loft - 34.0).abs() < 0.01, "{loft}");
        for (loft, lie, face) in [(34.0, 62.5, 2.0), (10.5, 58.0, -1.5), (56.0, 64.0, 0.0)] {
            let shown = LoftSense::in_shaft_plane(loft, lie, face);
            assert!((LoftSense::ShaftPlane.to_vertical(shown, lie, face) - loft).abs() < 1e-12);
        }
    }

    #[test]
    fn each_hand_has_its_datum_and_a_slope_is_the_other_way_round_for_the_other() {
        // A sensor that shows 0.2 too much in a fixture rolled by 1 deg: 1.2 for right-handed clubs, -0.8 for left-handed.
        let both = gauge(LoftSense::Vertical, Some(Datum { lie: Degrees(-0.8), loft: Degrees(-0.4) }));
        assert!((both.roll_deg() - 1.0).abs() < 1e-12 && both.tells_hands_apart());
        let [lie, loft] = both.angles([62.0, 30.0], club(Hand::Right, 0.0)).unwrap();
        assert!((lie - 62.0).abs() < 1e-12 && (loft - 30.0).abs() < 1e-12);
        // The same club for the other hand shows 2 deg less, and is the same.
        let [lie, loft] = both.angles([60.0, 30.0], club(Hand::Left, 0.0)).unwrap();
        assert!((lie - 62.0).abs() < 1e-12 && (loft - 30.0).abs() < 1e-12);
    }

    #[test]
    fn a_datum_that_may_be_a_slope_serves_one_hand_alone() {
        let one = gauge(LoftSense::Vertical, None);
        assert!(one.angles([62.0, 30.0], club(Hand::Left, 0.0)).is_none() && one.tells_hands_apart());
        assert!(one.angles([62.0, 30.0], Some(Laid::Block { hand: Hand::Left })).is_some());
        // Said to be level within 0.1 deg it serves both, and the other hand is unsure by twice that.
        let level = GaugeCalibration { u_level: Degrees(0.1), ..one.clone() };
        assert!(level.angles([62.0, 30.0], club(Hand::Left, 0.0)).is_some() && !level.tells_hands_apart());
        assert!((level.level_u(club(Hand::Left, 0.0)) - 0.2).abs() < 1e-15);
        assert!((level.level_u(club(Hand::Right, 0.0)) - 0.1).abs() < 1e-15);
        // Nothing taken off: nothing to turn round.
        let plain = GaugeCalibration { lie_datum: Degrees(0.0), loft_datum: Degrees(0.0), ..one };
        assert!(plain.angles([62.0, 30.0], club(Hand::Left, 0.0)).is_some());
    }

    #[test]
    fn a_block_stays_in_the_sense_of_the_gauge() {
        let gauge = gauge(LoftSense::ShaftPlane, None);
        assert_eq!(gauge.angles([60.0, 30.0], Some(Laid::Block { hand: Hand::Right })), Some([60.0, 30.0]));
        assert!(gauge.face_u(Some(Laid::Block { hand: Hand::Right })) == 0.0);
        assert!(
            (gauge.face_u(Some(ANY_CLUB)) - 0.5).abs() < 1e-15
                && (gauge.face_u(club(Hand::Left, 1.0)) - 0.2).abs() < 1e-15
        );
    }

    #[test]
    fn slopes_agree_with_differences() {
        let left = Some(Datum { lie: Degrees(-0.8), loft: Degrees(-0.3) });
        for sense in [LoftSense::ShaftPlane, LoftSense::Vertical] {
            for (hand, lie, loft, face) in
                [(Hand::Right, 62.5, 30.9, 0.0), (Hand::Left, 58.0, 10.0, 2.5), (Hand::Right, 72.0, 3.0, -1.5)]
            {
                let gauge = gauge(sense, left);
                let at = |lie: f64, loft: f64, face: f64| gauge.angles([lie, loft], club(hand, face)).unwrap()[1];
                let slopes = gauge.loft_slopes([lie, loft], club(hand, face)).unwrap();
                let step = 1e-4;
                for (slope, higher, lower) in [
                    (slopes.by_lie, at(lie + step, loft, face), at(lie - step, loft, face)),
                    (slopes.by_loft, at(lie, loft + step, face), at(lie, loft - step, face)),
                    (slopes.by_face, at(lie, loft, face + step), at(lie, loft, face - step)),
                ] {
                    let difference = (higher - lower) / (2.0 * step);
                    assert!((slope - difference).abs() < 1e-6, "{sense:?} {hand:?} {lie}: {slope} {difference}");
                }
            }
        }
    }
}
