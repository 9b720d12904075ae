//! What a placement says: quantities with their standard uncertainty, before anyone knows which club they belong to.

/// What an instrument can measure in one placement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Mass on the pan or on both cells, in grams.
    Mass,
    /// Distance of the centre of mass from the butt, in millimetres.
    Balance,
    /// Swing weight, in points from A0.
    SwingWeight,
    /// Lie, in degrees from the ground.
    Lie,
    /// Loft in the vertical sense, in degrees.
    Loft,
}

impl Quantity {
    /// The name in records and messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Mass => "mass",
            Self::Balance => "balance",
            Self::SwingWeight => "swing_weight",
            Self::Lie => "lie",
            Self::Loft => "loft",
        }
    }

    /// All quantities, for reading a stored name.
    pub const ALL: [Self; 5] = [Self::Mass, Self::Balance, Self::SwingWeight, Self::Lie, Self::Loft];
}

/// One measured quantity in its base unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// What was measured.
    pub quantity: Quantity,
    /// The value in the quantity's base unit.
    pub value: f64,
    /// Its standard uncertainty (k = 1), same unit.
    pub u: f64,
}

/// All that one placement says.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// One entry for each quantity the instrument shows.
    pub measured: Vec<Measured>,
}

impl Reading {
    /// The entry of one quantity.
    #[must_use]
    pub fn get(&self, quantity: Quantity) -> Option<Measured> {
        self.measured.iter().find(|m| m.quantity == quantity).copied()
    }
}

/// The kinds of instrument on a bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InstrumentKind {
    /// Indicates mass.
    Scale,
    /// Two load cells under a club: mass, balance point and swing weight.
    Beam,
    /// Lie and loft.
    Gauge,
    /// Temperature of the air, kept with each reading.
    Thermometer,
    /// Reads tickets and cards.
    Scanner,
    /// Under a foot: accept and void.
    Pedal,
}

impl InstrumentKind {
    /// The name in configuration, records and messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Scale => "scale",
            Self::Beam => "beam",
            Self::Gauge => "gauge",
            Self::Thermometer => "thermometer",
            Self::Scanner => "scanner",
            Self::Pedal => "pedal",
        }
    }

    /// All kinds, for reading a name.
    pub const ALL: [Self; 6] = [Self::Scale, Self::Beam, Self::Gauge, Self::Thermometer, Self::Scanner, Self::Pedal];

    /// Whether it measures clubs and their parts; else it is a hand or a foot that asks for something, or the air.
    #[must_use]
    pub fn measures(self) -> bool {
        matches!(self, Self::Scale | Self::Beam | Self::Gauge)
    }
}
