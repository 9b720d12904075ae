//! Where to cut a raw shaft, at the tip and at the butt, and whether a second measurement agrees.
//!
//! Lengths of shaft, head, grip cap and the length the club is to have come in, each with its standard uncertainty; marks
//! go out. No swing weight: what a trim does to it is in `trimming`. All places lie on the shaft axis.
//!
//! The length of a club runs from the line where the plane it lies on meets a plane inclined by 60° that the sole stands
//! against (the ground line) to the end of the grip: Equipment Rules of the two governing bodies, 2019, part 2, 1c. So
//!
//! `length = grip cap + cut shaft + gap below the tip + sleeve floor + bore bottom to ground line`
//!
//! and what is not shaft is known before anything is cut. (A putter is measured along its axis to the sole, from memory of
//! the same rule; then the last term is that distance and no angle comes in.) Each mark is drawn from one end and measured
//! a second time from the other one, so that a slip in any of the lengths shows before the saw does.

use crate::measurement::unit::Degrees;

/// Angle between shaft and ground at which a length is measured.
pub const MEASURING_ANGLE: Degrees = Degrees(60.0);
/// Standard uncertainty of a line drawn on a shaft and sawn along, in millimetres (common practice, no source).
pub const U_OF_A_MARK_MM: f64 = 0.3;
/// Standard uncertainty of the seat of a shaft that stands on the bottom of its bore, in millimetres (adhesive and chips
/// below it; common practice, no source).
pub const U_OF_A_SEAT_MM: f64 = 0.3;
/// Coverage factor for agreement of two measurements: about 95 % for a normal distribution (JCGM 100:2008, 6.3.3).
pub const COVERAGE: f64 = 2.0;

/// A length and its standard uncertainty, both in millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// The length.
    pub mm: f64,
    /// Its standard uncertainty.
    pub u_mm: f64,
}

impl Span {
    /// A length with its standard uncertainty.
    #[must_use]
    pub fn new(mm: f64, u_mm: f64) -> Self {
        Self { mm, u_mm }
    }

    /// As an order file says it: with the half-width of its rectangular distribution (JCGM 100:2008, 4.3.7), to the nanometre,
    /// so that what is read back is the same.
    #[must_use]
    pub fn written(self) -> String {
        format!("{} mm ± {} mm", self.mm, (self.u_mm * 3f64.sqrt() * 1e6).round() / 1e6)
    }

    /// The sum; the two are independent.
    fn plus(self, other: Self) -> Self {
        Self { mm: self.mm + other.mm, u_mm: self.u_mm.hypot(other.u_mm) }
    }

    /// The difference; the two are independent.
    fn less(self, other: Self) -> Self {
        Self { mm: self.mm - other.mm, u_mm: self.u_mm.hypot(other.u_mm) }
    }
}

/// From the bottom of the bore along the axis to the ground line, and how it was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroundLine {
    /// The distance as measured.
    pub distance: Span,
    /// Angle of the inclined plane it was measured at.
    pub at: Degrees,
    /// Where the sole touched that plane: its distance from the plane that the club lies on. Only needed where the angle is
    /// not 60°.
    pub sole_contact: Option<Span>,
    /// Radius of the sole from heel to toe, in millimetres; 0 for a sole that touches at the same point at both angles.
    pub sole_radius_mm: f64,
}

impl GroundLine {
    /// The distance for the published measuring method; `None` where it was measured at another angle and nothing says
    /// where the sole touched.
    ///
    /// A sole of radius `ρ` with its centre `y` off the plane the club lies on meets a plane inclined by `Λ` so that the
    /// ground line is at `x₀ + (ρ − y cos Λ)/sin Λ`; the contact then is `y − ρ cos Λ` off that plane (own derivation:
    /// the centre is `ρ` away from the inclined plane).
    #[must_use]
    pub fn at_measuring_angle(&self) -> Option<Span> {
        let (from, to) = (self.at.0.to_radians(), MEASURING_ANGLE.0.to_radians());
        if (self.at - MEASURING_ANGLE).abs().0 < 1e-9 {
            return Some(self.distance);
        }
        let contact = self.sole_contact?;
        let centre = contact.mm + self.sole_radius_mm * from.cos();
        let ground = |angle: f64| (self.sole_radius_mm - centre * angle.cos()) / angle.sin();
        let shift = ground(to) - ground(from);
        let per_contact = 1.0 / from.tan() - 1.0 / to.tan();
        Some(self.distance.plus(Span::new(shift, per_contact * contact.u_mm)))
    }
}

/// All that decides where a shaft is cut, besides the length that the club is to have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutPlan {
    /// The shaft before anything is cut.
    pub raw_length: Span,
    /// To cut off the tip; 0 for none.
    pub tip_trim: Span,
    /// Depth of the bore that the shaft goes into: of the sleeve where there is one, else of the hosel.
    pub bore_depth: Span,
    /// How deep the shaft goes into it; `None`: to the bottom.
    pub insertion: Option<Span>,
    /// From the bottom of a sleeve's bore to the end that stands on the bottom of the hosel's bore.
    pub sleeve_floor: Option<Span>,
    /// From the bottom of the hosel's bore to the ground line.
    pub ground_line: GroundLine,
    /// Thickness of the grip cap.
    pub grip_cap: Span,
    /// Length of the ferrule that sits on the hosel or the sleeve.
    pub ferrule: Option<Span>,
}

impl CutPlan {
    /// Its lengths by their keys in an order file.
    #[must_use]
    pub fn lengths(&self) -> [(&'static str, Option<Span>); 9] {
        let ground = &self.ground_line;
        [
            ("raw_length", Some(self.raw_length)),
            ("tip_trim", Some(self.tip_trim).filter(|trim| *trim != Span::new(0.0, 0.0))),
            ("bore_depth", Some(self.bore_depth)),
            ("insertion", self.insertion),
            ("sleeve_floor", self.sleeve_floor),
            ("bore_to_ground", Some(ground.distance)),
            ("sole_contact", ground.sole_contact),
            ("grip_cap", Some(self.grip_cap)),
            ("ferrule", self.ferrule),
        ]
    }
}

/// A line on the raw shaft that it is cut along.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CutMark {
    /// At the tip; cut before head and shaft are bonded.
    Tip,
    /// At the butt; cut to length.
    Butt,
}

impl CutMark {
    /// Both, in the order of the work.
    pub const ALL: [Self; 2] = [Self::Tip, Self::Butt];

    /// The name in files, records and messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Tip => "tip",
            Self::Butt => "butt",
        }
    }

    /// Reads a name.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|mark| mark.name() == name)
    }
}

/// The marks of a shaft. All with standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutMarks {
    /// From the raw tip to the tip mark: what is cut off there.
    pub tip: Span,
    /// From the raw butt to the butt mark: what is cut off there.
    pub butt: Span,
    /// The butt mark from the raw tip, for drawing both before the first cut.
    pub butt_from_raw_tip: Span,
    /// The shaft once both ends are cut.
    pub shaft: Span,
    /// From the cut tip to where the shaft enters its bore.
    pub insertion: Span,
    /// From the cut tip to the upper end of the ferrule.
    pub ferrule_end: Option<Span>,
    /// Second measurement of the tip mark: from the raw butt.
    pub tip_again: Span,
    /// Second measurement of the butt mark: from the ground line, with the head on.
    pub butt_again: Span,
    /// From the ground line to the raw butt with the head on: the club before the butt is cut.
    pub uncut: Span,
    /// The length of the finished club.
    pub finished: Span,
}

/// Why there are no marks.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CutError {
    /// More goes in than the bore is deep.
    #[error("the shaft is to go in {insertion:.1} mm and the bore is {bore:.1} mm deep")]
    TooDeep {
        /// Depth asked for, in millimetres.
        insertion: f64,
        /// Depth of the bore, in millimetres.
        bore: f64,
    },
    /// The angle of the ground line needs the place where the sole touches.
    #[error(
        "the distance to the ground line was measured at {at:.1} deg; for the length at 60 deg it must be known where the sole touched"
    )]
    NoContact {
        /// Angle it was measured at, in degrees.
        at: f64,
    },
    /// The shaft does not reach.
    #[error(
        "the shaft is {short:.1} mm too short: {raw:.1} mm less a tip trim of {tip:.1} mm leave {left:.1} mm, the club needs {needed:.1} mm"
    )]
    TooShort {
        /// Missing, in millimetres.
        short: f64,
        /// Raw length, in millimetres.
        raw: f64,
        /// Tip trim, in millimetres.
        tip: f64,
        /// Left of it, in millimetres.
        left: f64,
        /// Needed, in millimetres.
        needed: f64,
    },
    /// The head alone is longer than the club.
    #[error("head, sleeve and grip cap take {taken:.1} mm of a club of {length:.1} mm: no shaft is left")]
    NoShaft {
        /// What is not shaft, in millimetres.
        taken: f64,
        /// Length of the club, in millimetres.
        length: f64,
    },
}

impl CutPlan {
    /// The marks for a club of this length, in millimetres.
    ///
    /// # Errors
    /// Says why this shaft and head do not make that club.
    pub fn marks(&self, length_mm: f64) -> Result<CutMarks, CutError> {
        let gap = match self.insertion {
            Some(insertion) if insertion.mm > self.bore_depth.mm => {
                return Err(CutError::TooDeep { insertion: insertion.mm, bore: self.bore_depth.mm });
            }
            Some(insertion) => self.bore_depth.less(insertion),
            None => Span::new(0.0, U_OF_A_SEAT_MM),
        };
        let ground = self.ground_line.at_measuring_angle();
        let ground = ground.ok_or(CutError::NoContact { at: self.ground_line.at.0 })?;
        let floor = self.sleeve_floor.unwrap_or(Span::new(0.0, 0.0));
        let below_tip = gap.plus(floor).plus(ground);
        let taken = below_tip.plus(self.grip_cap);
        let shaft = Span::new(length_mm, 0.0).less(taken);
        if shaft.mm <= 0.0 {
            return Err(CutError::NoShaft { taken: taken.mm, length: length_mm });
        }
        let trimmed = self.raw_length.less(self.tip_trim);
        let butt = trimmed.less(shaft);
        if butt.mm < 0.0 {
            return Err(CutError::TooShort {
                short: -butt.mm,
                raw: self.raw_length.mm,
                tip: self.tip_trim.mm,
                left: trimmed.mm,
                needed: shaft.mm,
            });
        }
        let drawn = Span::new(0.0, U_OF_A_MARK_MM);
        let insertion = self.insertion.unwrap_or(self.bore_depth);
        let uncut = trimmed.plus(below_tip);
        Ok(CutMarks {
            tip: self.tip_trim,
            butt,
            butt_from_raw_tip: self.tip_trim.plus(shaft),
            shaft,
            insertion,
            ferrule_end: self.ferrule.map(|ferrule| insertion.plus(ferrule)),
            tip_again: self.raw_length.less(self.tip_trim),
            // The mark is drawn from the raw butt at a number: what is not known of the grip cap moves the number and the
            // place alike, and the finished club, but not this check.
            butt_again: Span::new(length_mm - self.grip_cap.mm, uncut.plus(drawn).u_mm),
            uncut,
            finished: Span::new(length_mm, uncut.plus(drawn).plus(Span::new(0.0, self.grip_cap.u_mm)).u_mm),
        })
    }
}

impl CutMarks {
    /// What the second measurement of a mark should show.
    #[must_use]
    pub fn again(&self, mark: CutMark) -> Span {
        match mark {
            CutMark::Tip => self.tip_again,
            CutMark::Butt => self.butt_again,
        }
    }

    /// Whether anything is to be cut at that end.
    #[must_use]
    pub fn is_cut(&self, mark: CutMark) -> bool {
        match mark {
            CutMark::Tip => self.tip.mm > 0.0,
            CutMark::Butt => self.butt.mm > 0.0,
        }
    }
}

/// How two measurements of one mark compare.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Second less first, in millimetres.
    pub difference_mm: f64,
    /// What the uncertainties of both explain, with [`COVERAGE`], in millimetres.
    pub limit_mm: f64,
}

impl Agreement {
    /// Compares what was expected with what was measured.
    #[must_use]
    pub fn of(expected: Span, measured: Span) -> Self {
        let difference = measured.less(expected);
        Self { difference_mm: difference.mm, limit_mm: COVERAGE * difference.u_mm }
    }

    /// Whether the uncertainties explain the difference.
    #[must_use]
    pub fn agrees(&self) -> bool {
        self.difference_mm.abs() <= self.limit_mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An invented 5-iron of 38 in.
    fn iron() -> CutPlan {
        CutPlan {
            raw_length: Span::new(1003.0, 0.5),
            tip_trim: Span::new(12.7, 0.3),
            bore_depth: Span::new(31.0, 0.2),
            insertion: Some(Span::new(29.0, 0.3)),
            sleeve_floor: None,
            ground_line: GroundLine {
                distance: Span::new(36.0, 0.5),
                at: Degrees(60.0),
                sole_contact: None,
                sole_radius_mm: 0.0,
            },
            grip_cap: Span::new(4.0, 0.2),
            ferrule: Some(Span::new(20.0, 0.2)),
        }
    }

    #[track_caller]
    fn near(found: f64, expected: f64, within: f64) {
        assert!((found - expected).abs() < within, "{found}, expected {expected}");
    }

    #[test]
    fn the_marks_of_an_iron_are_those_worked_by_hand() {
        let marks = iron().marks(965.2).unwrap();
        // By hand: 38 in = 965.2 mm. Gap 31 − 29 = 2. Not shaft: 4 + 2 + 36 = 42. Shaft 965.2 − 42 = 923.2.
        // After the tip 1003 − 12.7 = 990.3. Butt 990.3 − 923.2 = 67.1. From the raw tip 12.7 + 923.2 = 935.9.
        near(marks.shaft.mm, 923.2, 1e-9);
        near(marks.butt.mm, 67.1, 1e-9);
        near(marks.butt_from_raw_tip.mm, 935.9, 1e-9);
        near(marks.tip_again.mm, 990.3, 1e-9);
        // Ground line to mark: 965.2 − 4; the uncut club 990.3 + 2 + 36 = 1028.3 = 961.2 + 67.1.
        near(marks.butt_again.mm, 961.2, 1e-9);
        near(marks.uncut.mm, 1028.3, 1e-9);
        near(marks.ferrule_end.unwrap().mm, 49.0, 1e-9);
        // Uncertainty of the shaft: √(0.2² + 0.2² + 0.3² + 0.5²) = √0.42 = 0.6481; of the butt mark with 0.5 and 0.3:
        // √(0.42 + 0.25 + 0.09) = √0.76 = 0.8718; of the second measurement √(0.25 + 0.09 + 0.04 + 0.09 + 0.25 + 0.09)
        // = √0.81 = 0.9.
        near(marks.shaft.u_mm, 0.42f64.sqrt(), 1e-12);
        near(marks.butt.u_mm, 0.76f64.sqrt(), 1e-12);
        near(marks.butt_again.u_mm, 0.9, 1e-12);
        near(marks.finished.u_mm, 0.85f64.sqrt(), 1e-12);
    }

    #[test]
    fn a_sleeve_and_a_shaft_on_the_bottom_of_its_bore() {
        let mut plan = iron();
        plan.insertion = None;
        plan.sleeve_floor = Some(Span::new(3.0, 0.1));
        let marks = plan.marks(965.2).unwrap();
        // By hand: 965.2 − 4 − 0 − 3 − 36 = 922.2; insertion is the whole bore.
        near(marks.shaft.mm, 922.2, 1e-9);
        near(marks.insertion.mm, 31.0, 1e-9);
    }

    #[test]
    fn a_ground_line_measured_at_the_lie_is_taken_to_60_degrees() {
        // By hand for a sole that touches at one point, 35 mm off: the line moves by 35 (cot 62.5° − cot 60°)
        // = 35 (0.520567 − 0.577350) = −1.98741 mm.
        let mut line = iron().ground_line;
        line.at = Degrees(62.5);
        assert_eq!(line.at_measuring_angle(), None);
        line.sole_contact = Some(Span::new(35.0, 3.0));
        near(line.at_measuring_angle().unwrap().mm, 36.0 - 1.987_41, 1e-4);
        near(line.at_measuring_angle().unwrap().u_mm, 0.5f64.hypot(3.0 * 0.056_783), 1e-5);
        // A cambered sole, drawn: circle of 300 mm through the contact; the tangent at 60° is found by sampling the circle.
        line.sole_radius_mm = 300.0;
        let (from, to) = (62.5f64.to_radians(), 60f64.to_radians());
        // Ground line at x = 36 for 62.5°: the contact is 35/sin 62.5° along the ground from it.
        let along = 35.0 / from.sin();
        let contact = (36.0 + along * from.cos(), 35.0);
        let centre = (contact.0 - 300.0 * from.sin(), contact.1 + 300.0 * from.cos());
        // The ground at 60° touches where the circle reaches farthest beyond it.
        let reach = (0..2_000_000)
            .map(|step| {
                let turn = f64::from(step) * std::f64::consts::TAU / 2e6;
                let (x, y) = (centre.0 + 300.0 * turn.cos(), centre.1 + 300.0 * turn.sin());
                x - y / to.tan()
            })
            .fold(f64::MIN, f64::max);
        near(line.at_measuring_angle().unwrap().mm, reach, 1e-6);
    }

    #[test]
    fn what_does_not_fit_is_said_with_numbers() {
        let words = |plan: CutPlan, length| plan.marks(length).unwrap_err().to_string();
        // By hand: 1100 − 42 = 1058 needed, 990.3 left: 67.7 short.
        assert!(words(iron(), 1100.0).contains("67.7 mm too short"));
        let mut deep = iron();
        deep.insertion = Some(Span::new(33.0, 0.3));
        assert!(words(deep, 965.2).contains("33.0 mm and the bore is 31.0 mm"));
        assert!(words(iron(), 40.0).contains("no shaft is left"));
    }

    #[test]
    fn a_second_measurement_agrees_within_what_both_are_unsure_of() {
        // By hand: expected 961.2 ± 0.9, a rule of 0.5: limit 2 √(0.81 + 0.25) = 2.0591.
        let expected = Span::new(961.2, 0.9);
        let of = |mm: f64| Agreement::of(expected, Span::new(mm, 0.5));
        near(of(963.0).limit_mm, 2.059_126, 1e-6);
        assert!(of(963.2).agrees() && of(959.2).agrees());
        assert!(!of(963.3).agrees() && !of(959.1).agrees());
        near(of(963.0).difference_mm, 1.8, 1e-9);
    }
}
