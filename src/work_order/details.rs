//! What an order says about a club beyond its targets: the head's material, facts about its parts that no instrument of
//! the bench measures, and its sleeve.
//!
//! Plain values; reading them from a file is `config`'s work.

use std::ops::RangeInclusive;

use crate::club::characteristic::Characteristic;
use crate::measurement::quantity::{Dimension, parse_target};
use crate::measurement::unit::Degrees;

/// Facts of one club.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Details {
    /// What the head is made of, in the words of the bench's bending limits.
    pub head_material: Option<String>,
    /// Facts from a maker's sheet or a measurement of one's own.
    pub given: Vec<Given>,
    /// The sleeve between shaft and head, where there is one.
    pub sleeve: Option<SleeveSpec>,
}

/// One fact.
#[derive(Debug, Clone, PartialEq)]
pub struct Given {
    /// What it is.
    pub measure: Measure,
    /// Its value in the measure's unit.
    pub value: f64,
    /// The text as it was written.
    pub text: String,
}

impl Given {
    /// Half of the tolerance that is written beside the value, in its unit; `None` where none is.
    #[must_use]
    pub fn half_width(&self) -> Option<f64> {
        let target = parse_target(&self.text, self.measure.dimension()).ok()?;
        target.lower.zip(target.upper).map(|(lower, upper)| (upper - lower) / 2.0)
    }
}

/// An off-axis sleeve with the positions it can be put in.
#[derive(Debug, Clone, PartialEq)]
pub struct SleeveSpec {
    /// Lean of the shaft from the bore of the head, 0 to 5 degrees.
    pub tilt: Degrees,
    /// Clock positions, from the upright side toward the target.
    pub clocks: Vec<Degrees>,
    /// The position it is in while the club is measured.
    pub at: Option<Degrees>,
}

super::order::named!(
    /// Something that is given with an order and not measured on the bench.
    Measure {
        /// Volume of the head.
        HeadVolume = "head_volume",
        /// Inertia of the head about the vertical axis through its centre of gravity.
        HeadInertia = "head_inertia",
        /// Head from heel to toe.
        HeelToToe = "heel_to_toe",
        /// Head from sole to crown.
        SoleToCrown = "sole_to_crown",
        /// Neck or socket along its axis.
        NeckLength = "neck_length",
        /// Lean of the shaft toward the target; negative: away from it.
        ShaftLean = "shaft_lean",
        /// Bounce of the sole as the head was delivered.
        Bounce = "bounce",
        /// Length of the grip.
        GripLength = "grip_length",
        /// Largest width of the grip's cross-section.
        GripDiameter = "grip_diameter",
        /// Largest less smallest diameter of one section of the grip.
        GripRoundness = "grip_roundness",
        /// Length of the upper of two grips.
        UpperGripLength = "upper_grip_length",
        /// Gap between two grips.
        GripGap = "grip_gap",
        /// Loft of the head as it is stated, in the vertical sense, on a straight sleeve.
        HeadLoft = "head_loft",
        /// Lie of the head as it is stated, on a straight sleeve.
        HeadLie = "head_lie",
        /// Face angle of the head as it is stated; closed positive.
        HeadFaceAngle = "head_face_angle",
        /// Frequency of the raw shaft, with its clamp and tip mass.
        ShaftFrequency = "shaft_frequency",
        /// How much of the butt was clamped for it.
        ShaftClampLength = "shaft_clamp_length",
        /// The mass on the tip for it.
        ShaftTipMass = "shaft_tip_mass",
    }
);

impl Measure {
    /// The words a person reads.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::HeadVolume => "head volume",
            Self::HeadInertia => "head inertia",
            Self::HeelToToe => "heel to toe",
            Self::SoleToCrown => "sole to crown",
            Self::NeckLength => "neck length",
            Self::ShaftLean => "shaft lean",
            Self::Bounce => "bounce",
            Self::GripLength => "grip length",
            Self::GripDiameter => "grip diameter",
            Self::GripRoundness => "grip out of round",
            Self::UpperGripLength => "length of the upper grip",
            Self::GripGap => "gap between the grips",
            Self::HeadLoft => "loft of the head",
            Self::HeadLie => "lie of the head",
            Self::HeadFaceAngle => "face angle of the head",
            Self::ShaftFrequency => "frequency of the raw shaft",
            Self::ShaftClampLength => "clamp length at that frequency",
            Self::ShaftTipMass => "tip mass at that frequency",
        }
    }

    /// The kind of quantity people write for it.
    #[must_use]
    pub fn dimension(self) -> Dimension {
        match self {
            Self::HeadVolume => Dimension::Volume,
            Self::HeadInertia => Dimension::Inertia,
            Self::ShaftLean | Self::Bounce | Self::HeadLoft | Self::HeadLie | Self::HeadFaceAngle => Dimension::Angle,
            Self::ShaftFrequency => Dimension::Frequency,
            Self::ShaftTipMass => Dimension::Mass,
            _ => Dimension::Length,
        }
    }

    /// The unit of its number in JSON: a code of UCUM.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self.dimension() {
            Dimension::Volume => "cm3",
            Dimension::Inertia => "kg.cm2",
            Dimension::Angle => "deg",
            Dimension::Frequency => "{cpm}",
            Dimension::Mass => "g",
            _ => "mm",
        }
    }

    /// Decimals shown in its base unit.
    #[must_use]
    pub fn decimals(self) -> u8 {
        match self {
            Self::HeadVolume | Self::ShaftFrequency | Self::ShaftClampLength => 0,
            Self::HeadInertia | Self::GripRoundness => 2,
            _ => 1,
        }
    }

    /// The range outside which a value is a slip of the pen, in its unit. Common practice, no source; wide on purpose.
    #[must_use]
    pub fn possible(self) -> RangeInclusive<f64> {
        match self {
            Self::HeadVolume => 10.0..=1000.0,
            Self::HeadInertia => 0.1..=20.0,
            Self::ShaftLean => -45.0..=45.0,
            Self::Bounce => -10.0..=40.0,
            Self::GripRoundness => 0.0..=50.0,
            Self::GripGap => 0.0..=1000.0,
            Self::HeadLoft => Characteristic::Loft.possible(),
            Self::HeadLie => Characteristic::Lie.possible(),
            Self::HeadFaceAngle => Characteristic::FaceAngle.possible(),
            Self::ShaftFrequency => Characteristic::Frequency.possible(),
            Self::ShaftClampLength => Characteristic::ClampLength.possible(),
            Self::ShaftTipMass => Characteristic::TipMass.possible(),
            _ => 1.0..=1000.0,
        }
    }
}

impl Details {
    /// What the order gives of a measure.
    #[must_use]
    pub fn given(&self, measure: Measure) -> Option<&Given> {
        self.given.iter().find(|given| given.measure == measure)
    }

    /// Whether nothing is said.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}
