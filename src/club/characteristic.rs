//! The one table of what can be measured on a club. A new characteristic is a new row here.

use std::ops::RangeInclusive;

use crate::measurement::quantity::Dimension;

/// Something that a work order can ask for and a record can hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Characteristic {
    /// Mass of the head alone.
    HeadMass,
    /// Mass of the bare shaft.
    ShaftMass,
    /// Mass of the grip alone.
    GripMass,
    /// Balance of the bare shaft from its butt.
    ShaftBalance,
    /// Length by the published measuring method.
    Length,
    /// Mass of the whole club.
    TotalMass,
    /// Balance of the club from the outside of the grip cap.
    BalancePoint,
    /// Swing weight about 14 in.
    SwingWeight,
    /// Loft in the vertical sense at the measured lie.
    Loft,
    /// Lie from the ground.
    Lie,
    /// Face angle, closed is positive.
    FaceAngle,
    /// Frequency of the clamped club.
    Frequency,
    /// Moment of inertia about the butt.
    MoiButt,
    /// Diameter of the grip 50 mm from the outside of its cap.
    GripDiameter50,
    /// Diameter of the grip 125 mm from the outside of its cap.
    GripDiameter125,
    /// How much of the butt was clamped when the frequency was taken.
    ClampLength,
    /// The mass on the tip when the frequency was taken.
    TipMass,
    /// Cut off the tip of the shaft.
    TipTrim,
    /// Cut off the butt of the shaft.
    ButtTrim,
    /// Where spine or seam of the shaft lies: clockwise from 12 o'clock, seen from the butt.
    ShaftOrientation,
    /// Length of the ferrule.
    FerruleLength,
    /// What tape under the grip adds to the diameter.
    TapeBuildUp,
}

/// What a characteristic is measured on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MeasuredOn {
    /// A part before assembly.
    Part,
    /// The assembled club, at whatever stage it is.
    Club,
}

/// A row of the table.
struct Row {
    characteristic: Characteristic,
    name: &'static str,
    label: &'static str,
    unit: &'static str,
    dimension: Dimension,
    decimals: u8,
    on: MeasuredOn,
}

const fn row(
    characteristic: Characteristic,
    name: &'static str,
    label: &'static str,
    unit: &'static str,
    dimension: Dimension,
    decimals: u8,
    on: MeasuredOn,
) -> Row {
    Row { characteristic, name, label, unit, dimension, decimals, on }
}

/// The table, in the order of the work. Units are codes of UCUM where it has one.
const TABLE: [Row; 22] = [
    row(Characteristic::HeadMass, "head_mass", "head mass", "g", Dimension::Mass, 1, MeasuredOn::Part),
    row(Characteristic::ShaftMass, "shaft_mass", "shaft mass", "g", Dimension::Mass, 1, MeasuredOn::Part),
    row(Characteristic::GripMass, "grip_mass", "grip mass", "g", Dimension::Mass, 1, MeasuredOn::Part),
    row(Characteristic::ShaftBalance, "shaft_balance", "shaft balance", "mm", Dimension::Length, 1, MeasuredOn::Part),
    row(Characteristic::Length, "length", "length", "mm", Dimension::Length, 1, MeasuredOn::Club),
    row(Characteristic::TotalMass, "total_mass", "total mass", "g", Dimension::Mass, 1, MeasuredOn::Club),
    row(Characteristic::BalancePoint, "balance_point", "balance point", "mm", Dimension::Length, 1, MeasuredOn::Club),
    row(
        Characteristic::SwingWeight,
        "swing_weight",
        "swing weight",
        "{point}",
        Dimension::SwingWeight,
        1,
        MeasuredOn::Club,
    ),
    row(Characteristic::Loft, "loft", "loft", "deg", Dimension::Angle, 1, MeasuredOn::Club),
    row(Characteristic::Lie, "lie", "lie", "deg", Dimension::Angle, 1, MeasuredOn::Club),
    row(Characteristic::FaceAngle, "face_angle", "face angle", "deg", Dimension::Angle, 1, MeasuredOn::Club),
    row(Characteristic::Frequency, "frequency", "frequency", "{cpm}", Dimension::Frequency, 0, MeasuredOn::Club),
    row(
        Characteristic::MoiButt,
        "moi_butt",
        "inertia about the butt",
        "kg.cm2",
        Dimension::Inertia,
        0,
        MeasuredOn::Club,
    ),
    // What is read by hand and typed. The distances are common practice for the two hands, no source.
    row(
        Characteristic::GripDiameter50,
        "grip_diameter_50mm",
        "grip diameter 50 mm from the cap",
        "mm",
        Dimension::Length,
        2,
        MeasuredOn::Club,
    ),
    row(
        Characteristic::GripDiameter125,
        "grip_diameter_125mm",
        "grip diameter 125 mm from the cap",
        "mm",
        Dimension::Length,
        2,
        MeasuredOn::Club,
    ),
    row(
        Characteristic::ClampLength,
        "clamp_length",
        "clamp length at the frequency",
        "mm",
        Dimension::Length,
        0,
        MeasuredOn::Club,
    ),
    row(Characteristic::TipMass, "tip_mass", "tip mass at the frequency", "g", Dimension::Mass, 1, MeasuredOn::Club),
    row(Characteristic::TipTrim, "tip_trim", "tip trim", "mm", Dimension::Length, 1, MeasuredOn::Part),
    row(Characteristic::ButtTrim, "butt_trim", "butt trim", "mm", Dimension::Length, 1, MeasuredOn::Part),
    row(
        Characteristic::ShaftOrientation,
        "shaft_orientation",
        "spine or seam from 12 o'clock",
        "deg",
        Dimension::Angle,
        0,
        MeasuredOn::Part,
    ),
    row(
        Characteristic::FerruleLength,
        "ferrule_length",
        "ferrule length",
        "mm",
        Dimension::Length,
        1,
        MeasuredOn::Part,
    ),
    row(Characteristic::TapeBuildUp, "tape_build_up", "tape build-up", "mm", Dimension::Length, 2, MeasuredOn::Part),
];

impl Characteristic {
    /// Every characteristic, in the order of the work.
    pub fn all() -> impl Iterator<Item = Self> {
        TABLE.iter().map(|row| row.characteristic)
    }

    fn row(self) -> &'static Row {
        // The table has a row for every variant: `the_table_is_whole` proves it; the first row never answers for another.
        TABLE.iter().find(|row| row.characteristic == self).unwrap_or(&TABLE[0])
    }

    /// The name in files, topics and tables.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.row().name
    }

    /// The words a person reads.
    #[must_use]
    pub fn label(self) -> &'static str {
        self.row().label
    }

    /// The unit of its number in JSON.
    #[must_use]
    pub fn unit(self) -> &'static str {
        self.row().unit
    }

    /// The kind of quantity people write for it.
    #[must_use]
    pub fn dimension(self) -> Dimension {
        self.row().dimension
    }

    /// Decimals shown in its base unit.
    #[must_use]
    pub fn decimals(self) -> u8 {
        self.row().decimals
    }

    /// Part or club.
    #[must_use]
    pub fn measured_on(self) -> MeasuredOn {
        self.row().on
    }

    /// The range outside which a value or a target is a slip of the pen, in its unit. Common practice, no source; wide
    /// on purpose.
    #[must_use]
    pub fn possible(self) -> RangeInclusive<f64> {
        match self {
            Self::HeadMass => 1.0..=1500.0,
            Self::ShaftMass | Self::GripMass => 1.0..=500.0,
            Self::TotalMass => 1.0..=3000.0,
            Self::ShaftBalance | Self::BalancePoint => 1.0..=2000.0,
            Self::Length => 100.0..=2000.0,
            Self::SwingWeight => -200.0..=300.0,
            Self::Loft => -10.0..=90.0,
            Self::Lie => 30.0..=90.0,
            Self::FaceAngle => -30.0..=30.0,
            Self::Frequency => 20.0..=1000.0,
            Self::MoiButt => 100.0..=20_000.0,
            Self::GripDiameter50 | Self::GripDiameter125 => 10.0..=80.0,
            Self::ClampLength => 20.0..=400.0,
            Self::TipMass => 1.0..=1000.0,
            Self::TipTrim | Self::ButtTrim => 0.0..=800.0,
            Self::ShaftOrientation => 0.0..=360.0,
            Self::FerruleLength => 1.0..=100.0,
            Self::TapeBuildUp => 0.0..=15.0,
        }
    }

    /// Half the tolerance that a target without one is judged with, in its unit; `None` where the trade has no usual one.
    /// Common practice, no source.
    #[must_use]
    pub fn usual_tolerance(self) -> Option<f64> {
        match self {
            Self::HeadMass | Self::ShaftMass | Self::GripMass => Some(2.0),
            Self::TotalMass => Some(4.0),
            // A sixteenth of an inch: what a rule is read to.
            Self::Length => Some(25.4 / 16.0),
            Self::SwingWeight | Self::Loft | Self::Lie => Some(0.5),
            Self::Frequency => Some(2.0),
            _ => None,
        }
    }

    /// Reads a name.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        TABLE.iter().find(|row| row.name == name).map(|row| row.characteristic)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_whole() {
        for characteristic in Characteristic::all() {
            assert_eq!(characteristic.row().characteristic, characteristic);
            assert_eq!(Characteristic::parse(characteristic.name()), Some(characteristic));
        }
        // The last variant of the enum, so a new variant without a row fails here.
        assert_eq!(Characteristic::all().count(), Characteristic::TapeBuildUp as usize + 1);
    }
}
